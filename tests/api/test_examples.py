"""Every operation of the reference has an example that works, and answers as it is described."""

from __future__ import annotations

import json
import os
from typing import Any

import pytest
from django.db import transaction
from jsonschema import Draft202012Validator
from rest_framework.test import APIClient

from api.examples import ANSWERS, ASKED, METHODS, Asked, operations
from api.problems import MEDIA_TYPE
from tests.api import example_world
from tests.api.conftest import with_token
from tests.report_factories import jpeg_upload, photographed

pytestmark = pytest.mark.django_db
ENOUGH = 3  # items of a list that an example shows
STREAMED = ("text/csv", "application/x-ndjson")


@pytest.fixture
def document(anyone):
    return anyone.get("/api/v1/openapi.json").json()


@pytest.fixture
def world(settings, tmp_path):
    settings.RELEASES_ROOT = tmp_path / "releases"
    settings.PUBLIC_URL = "https://registry.example"
    asker, ids = example_world.build()
    return with_token(asker, "read", "submit", "moderate"), ids


def by_operation(document):
    for path, methods in document["paths"].items():
        for method in METHODS:
            if method in methods:
                yield methods[method]["operationId"], path, method, methods[method]


def test_every_operation_has_a_summary_its_errors_and_an_example(document):
    lacking = []
    for name, _, _, operation in by_operation(document):
        lacking += [f"{name}: no summary"] * (not operation.get("summary"))
        parameters = operation.get("parameters", [])
        lacking += [
            f"{name}: no example of {parameter['name']}"
            for parameter in parameters
            if parameter.get("required") and parameter["in"] != "header" and "example" not in parameter
        ]
        bodies = list(operation.get("requestBody", {}).get("content", {}).values())
        lacking += [f"{name}: no example of a body"] * bool(
            bodies and not any(has_example(body) for body in bodies)
        )
        good = [
            answer for status, answer in operation["responses"].items() if status < "300" and status != "204"
        ]
        told = [
            content
            for answer in good
            for kind, content in answer["content"].items()
            if not kind.startswith("image/")
        ]
        lacking += [f"{name}: no example of an answer"] * bool(told and not any(map(has_example, told)))
        errors = {status for status in operation["responses"] if status >= "400"}
        lacking += [
            f"{name}: does not tell of {status}" for status in ("401", "422", "429") if status not in errors
        ]
        for status in errors:
            assert MEDIA_TYPE in operation["responses"][status]["content"], (name, status)
    assert lacking == [], "\n".join(lacking)


def has_example(content: dict[str, Any]) -> bool:
    return "example" in content or bool(content.get("examples"))


def test_examples_name_operations_that_are_there(document):
    assert set(ASKED) <= {operation["operationId"] for operation in operations(document)}
    assert set(json.loads(ANSWERS.read_text())) <= {op["operationId"] for op in operations(document)}


def test_every_example_fits_its_description(document):
    wrong = []
    for name, _, _, operation in by_operation(document):
        for status, answer in operation["responses"].items():
            for content in answer.get("content", {}).values():
                if status < "300" and "example" in content:
                    wrong += [
                        f"{name}: {said}" for said in misfits(document, content["schema"], content["example"])
                    ]
    assert wrong == [], "\n".join(wrong)


def test_every_example_works_is_answered_as_described_and_may_hold_nothing_unknown(document, world):
    """Each in a transaction that is taken back, so that no example rests on another."""
    client, ids = world
    recorded, wrong = {}, []
    for name, path, method, operation in by_operation(document):
        asked = ASKED.get(name, Asked())
        for body in bodies_of(asked, operation):
            with transaction.atomic():
                answer = ask(client, ids, path, method, operation, asked, body)
                wrong += [f"{name}: {said}" for said in unlike(document, operation, answer)]
                if "201" in operation["responses"] and not wrong:
                    again = ask(client, ids, path, method, operation, asked, body)
                    if again.headers.get("Idempotent-Replay") != "true":
                        wrong.append(f"{name}: the same key was not answered with the same answer")
                wrong += [
                    f"{name}: {said}"
                    for said in unheard_of(client, ids, path, method, operation, asked, body)
                ]
                transaction.set_rollback(True)
            if answer.headers.get("Content-Type") == "application/json":
                recorded.setdefault(name, shortened(renamed(answer.json(), ids)))
    assert wrong == [], "\n".join(wrong)
    if os.environ.get("RECORD_EXAMPLES"):
        ANSWERS.write_text(json.dumps(recorded, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
    kept = json.loads(ANSWERS.read_text())
    assert {name: members(answer) for name, answer in kept.items()} == {
        name: members(answer) for name, answer in recorded.items()
    }, "record the answers anew: RECORD_EXAMPLES=1"


def bodies_of(asked: Asked, operation: dict[str, Any]) -> list[Any]:
    """The bodies of the table, or else those that the operation's own resource shows."""
    content = next(iter(operation.get("requestBody", {}).get("content", {}).values()), {})
    own = [shown["value"] for shown in content.get("examples", {}).values()]
    return list(asked.bodies.values()) or own or [None]


def ask(client: APIClient, ids, path, method, operation, asked: Asked, body, key="one"):
    """Send an example as a reader of the reference would: with a key where one is taken, with the ETag where needed."""
    address = path.format(**meant(asked.path, ids))
    headers = {}
    named = {
        parameter["name"] for parameter in operation.get("parameters", []) if parameter["in"] == "header"
    }
    if "Idempotency-Key" in named:
        headers["Idempotency-Key"] = key
    if "If-Match" in named:
        headers["If-Match"] = client.get(address).headers.get(
            "ETag", "*"
        )  # gone already where it was deleted
    query = meant(asked.query, ids)
    if method == "get":
        return client.get(address, query)
    kinds = list(operation.get("requestBody", {}).get("content", {}))
    body = meant(body, ids)
    if kinds[:1] == ["application/x-ndjson"]:
        line = json.dumps(body).encode() + b"\n"
        return client.generic(method, address, line, content_type=kinds[0], headers=headers)
    if kinds[:1] == ["multipart/form-data"]:
        file = jpeg_upload(photographed(frame=7, size=example_world.SMALL), name=body["frame"])
        return client.post(address, body | {"frame": file}, format="multipart", headers=headers)
    return getattr(client, method)(address, body, headers=headers)


def unheard_of(client, ids, path, method, operation, asked: Asked, body) -> list[str]:
    """What is taken though the document knows no such field; of a list of lines each is told of by itself."""
    if method == "get" or "application/x-ndjson" in operation.get("requestBody", {}).get("content", {}):
        return []
    answer = ask(client, ids, path, method, operation, asked, (body or {}) | {"unheard_of": 1}, key="another")
    told = answer.json().get("errors", [])
    if answer.status_code == 422 and "#/unheard_of" in [entry.get("pointer") for entry in told]:
        return []
    return [f"an unknown field is answered with {answer.status_code} {answer.content[:200]!r}"]


def unlike(document, operation, answer) -> list[str]:
    """What of an answer is not as the document describes it."""
    status = str(answer.status_code)
    if status not in operation["responses"] or status >= "300":
        return [f"{status} {answer.content[:300]!r}"]
    contents = operation["responses"][status].get("content", {})
    kind = answer.headers.get("Content-Type", "").partition(";")[0]
    if not contents:
        return [] if status == "204" else [f"{status} has no description of its answer"]
    if kind not in contents:
        return [f"the answer is {kind}, which is not described"]
    if answer.streaming:
        assert b"".join(answer.streaming_content)
        return []
    return misfits(document, contents[kind]["schema"], answer.json())


def misfits(document, schema, value) -> list[str]:
    whole = {
        "$schema": Draft202012Validator.META_SCHEMA["$id"],
        "components": document["components"],
        **schema,
    }
    return [
        f"{error.json_path}: {error.message[:200]}"
        for error in Draft202012Validator(whole).iter_errors(value)
    ]


def meant(value: Any, ids: dict[Any, Any]) -> Any:
    """An example's ids by those of this world."""
    if isinstance(value, dict):
        return {name: meant(inner, ids) for name, inner in value.items()}
    if isinstance(value, list):
        return [meant(inner, ids) for inner in value]
    return ids.get(value, value) if isinstance(value, str | int) and not isinstance(value, bool) else value


def renamed(answer: Any, ids: dict[Any, Any], name: str = "") -> Any:
    """An answer with the examples' ids in place of this world's, and with nothing that is secret or of one machine."""
    if isinstance(answer, dict):
        return {inner: renamed(value, ids, inner) for inner, value in answer.items()}
    if isinstance(answer, list):
        return [renamed(value, ids, name) for value in answer]
    if name == "token":
        return "0000…: told this once"
    if isinstance(answer, str):
        for example, real in ids.items():
            answer = answer.replace(real, example) if isinstance(real, str) else answer
        return answer.replace("http://testserver", "https://registry.example")
    return answer


def shortened(answer: Any) -> Any:
    if isinstance(answer, dict):
        by_path = any("/" in name for name in answer)  # files, which every member tells alike
        kept = (
            sorted(answer.items())[:ENOUGH] if by_path else answer.items()
        )  # databases have orders of their own
        return {name: shortened(value) for name, value in kept}
    return [shortened(value) for value in answer[:ENOUGH]] if isinstance(answer, list) else answer


def members(answer: Any) -> Any:
    """The names in an answer, whose loss or change makes a recorded one stale."""
    if isinstance(answer, list):
        return [members(answer[0])] if answer else []
    return {name: members(value) for name, value in answer.items()} if isinstance(answer, dict) else None
