"""Last touches on the OpenAPI document: errors on every operation, and 3.1's way of writing null."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema

from api.kept_answers import KeptAnswers
from api.problems import MEDIA_TYPE
from api.resource import SPARSE, SparseQuery
from api.scopes import needed_scope


class TokenScheme(OpenApiAuthenticationExtension):
    """How a request names its token."""

    target_class = "api.tokens.RegistryTokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "“Token ” and a token that you made under your account.",
        }


class ResourceSchema(AutoSchema):
    """Operations as `api.resource.Resource` answers them. Summaries in a few words: an action's own first sentence, or
    what lists and reads always do."""

    def get_summary(self) -> str:
        told = (getattr(getattr(self.view, self.view.action or "", None), "__doc__", None) or "").strip()
        if told:
            return told.split(". ")[0].split("\n")[0].rstrip(".")
        what = self.view.what
        return f"Read one {what}" if self.view.action == "retrieve" else f"List every {what}"

    def get_override_parameters(self) -> list[Any]:
        """The query parameters that the resource checks are those that are described."""
        query = self.view.query_of(self.view.action)
        sparse = self.method == "GET" and self.view.action in SPARSE
        return [query] * bool(query().fields) + [SparseQuery] * sparse

    def get_operation(self, *args: Any) -> dict[str, Any] | None:
        operation = super().get_operation(*args)
        kept = isinstance(self.view, KeptAnswers) and self.view.action == "list"
        if operation and self.method == "GET" and (kept or self.view.action == "retrieve"):
            operation["responses"]["200"]["headers"] = {"ETag": ETAG}
            operation["responses"]["304"] = {
                "description": "It is still what you hold: If-None-Match named its ETag."
            }
            operation.setdefault("parameters", []).append(IF_NONE_MATCH)
        return operation

    def get_auth(self) -> list[dict[str, Any]]:
        """What anyone may read needs no token."""
        needed = needed_scope(self.view, self.method.upper())
        own = needed != "read" or getattr(self.view, "signed_in", False)
        return [auth for auth in super().get_auth() if auth] + ([] if own else [{}])


PROBLEM = {
    "type": "object",
    "description": "What went wrong (RFC 9457).",
    "required": ["type", "title", "status", "detail", "errors"],
    "properties": {
        "type": {"type": "string", "description": "Stable name of the first problem, /problems/<code>."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {"type": "array", "items": {"$ref": "#/components/schemas/ProblemEntry"}},
    },
}
ENTRY = {
    "type": "object",
    "required": ["type", "detail", "remedy"],
    "properties": {
        "type": {"type": "string"},
        "detail": {"type": "string", "description": "What is wrong, with the value."},
        "remedy": {"type": "string", "description": "What to do about it."},
        "pointer": {"type": "string", "description": "JSON pointer to the member of the body, #/sweeps/0/…"},
        "parameter": {"type": "string", "description": "Name of the query parameter."},
        "value": {"description": "The offending value."},
    },
    "example": {
        "type": "/problems/f-number-not-marked",
        "detail": "f/7.4 is neither a marked stop nor this lens's own widest value.",
        "remedy": "Did you mean f/7.1 or f/8?",
        "pointer": "#/sweeps/0/readings/2/f_number",
        "value": 7.4,
    },
}
EVERYWHERE = {
    "401": "The token is not valid, or an account is needed.",
    "403": "The account or token may not do that.",
    "404": "There is nothing here.",
    "406": "The answer can't be given in the form that Accept asks for.",
    "422": "The input can't be taken.",
    "429": "Too many requests.",
}
WHEN_WRITING = {
    "400": "The body can't be parsed.",
    "409": "The state of the thing doesn't allow it.",
    "413": "Too large.",
    "415": "A body of another kind is needed.",
}
WHEN_CHANGING = {"412": "It was changed meanwhile.", "428": "If-Match is missing."}
IDEMPOTENCY_KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "schema": {"type": "string", "maxLength": 200},
    "description": "Repeating the request with the same key and body gives the same answer, made once.",
}
IF_MATCH = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "schema": {"type": "string"},
    "description": "The ETag that reading this address gave you.",
}
IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "schema": {"type": "string"},
    "description": "The ETag of what you hold already.",
}
ETAG = {
    "schema": {"type": "string"},
    "description": "Names this state of the thing, for If-None-Match and If-Match.",
}
METHODS = ("get", "post", "put", "patch", "delete")


def describe_problems(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Add the problem documents that an operation may answer with, and the headers that it reads."""
    result["components"]["schemas"] |= {"Problem": PROBLEM, "ProblemEntry": ENTRY}
    for methods in result["paths"].values():
        for method, operation in methods.items():
            if method in METHODS:
                _describe(method, operation)
    return result


def _describe(method: str, operation: dict[str, Any]) -> None:
    answers = dict(EVERYWHERE)
    headers = []
    if method != "get":
        answers |= WHEN_WRITING
    if method in ("put", "patch", "delete"):
        answers |= WHEN_CHANGING
        headers.append(IF_MATCH)
    if method == "post" and "201" in operation["responses"]:
        headers.append(IDEMPOTENCY_KEY)
    if headers:
        operation.setdefault("parameters", []).extend(headers)
    answers |= {
        status: told["description"] for status, told in operation["responses"].items() if status >= "400"
    }
    for status, description in answers.items():
        operation["responses"][status] = {
            "description": description,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }


def write_null_as_type(result: Any, generator: Any = None, request: Any = None, public: bool = True) -> Any:
    """OpenAPI 3.1 has no `nullable`: null is one of the types."""
    if isinstance(result, list):
        return [write_null_as_type(item) for item in result]
    if not isinstance(result, dict):
        return result
    plain = {name: write_null_as_type(item) for name, item in result.items()}
    if {} in plain.get("oneOf", ()):  # anything, null among it
        del plain["oneOf"]
    if plain.get("nullable") is True and isinstance(plain.get("type"), str):
        del plain["nullable"]
        plain["type"] = [plain["type"], "null"]
    return plain
