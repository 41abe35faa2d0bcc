"""How the tester of descriptions writes NDJSON, which it doesn't know: loaded by it, in its own process."""

import json

import schemathesis


@schemathesis.serializer("application/x-ndjson")
def lines(context, value):
    return json.dumps(value).encode() + b"\n"
