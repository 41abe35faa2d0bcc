"""Errors as problem documents (RFC 9457): one shape for every error, each with a stable type."""

from __future__ import annotations

import logging
import math
import re
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation, TooManyFilesSent
from django.http import Http404
from rest_framework import exceptions, status
from rest_framework.permissions import SAFE_METHODS
from rest_framework.response import Response
from rest_framework.views import set_rollback

from registry.errors import (
    CleanstopError,
    Conflict,
    InvalidInput,
    NotAllowed,
    NotFound,
    Problem,
    TooLarge,
    Unreadable,
)

log = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
TYPE_BASE = "/problems/"

STATUS_OF_ERROR: dict[type[CleanstopError], int] = {
    InvalidInput: status.HTTP_422_UNPROCESSABLE_ENTITY,
    Unreadable: status.HTTP_422_UNPROCESSABLE_ENTITY,
    NotAllowed: status.HTTP_403_FORBIDDEN,
    NotFound: status.HTTP_404_NOT_FOUND,
    Conflict: status.HTTP_409_CONFLICT,
    TooLarge: status.HTTP_413_REQUEST_ENTITY_TOO_LARGE,
}


@dataclass(frozen=True)
class Kind:
    """One type of error that the API itself knows; domain problems carry their own codes."""

    code: str
    title: str
    remedy: str


KINDS: dict[type[Exception], Kind] = {
    exceptions.ParseError: Kind("malformed-body", "The body can't be parsed.", "Send well-formed JSON."),
    exceptions.AuthenticationFailed: Kind(
        "not-recognised", "The token is not valid.", "Make a new token under your account."
    ),
    exceptions.NotAuthenticated: Kind(
        "not-signed-in", "This needs an account.", "Send “Authorization: Token …”, or sign in."
    ),
    exceptions.PermissionDenied: Kind(
        "not-allowed", "This account or token may not do that.", "Use a token with the scope named here."
    ),
    PermissionDenied: Kind("not-allowed", "This account may not do that.", "Ask a moderator."),
    exceptions.NotFound: Kind(
        "not-found", "There is nothing here.", "Check the address against the reference."
    ),
    Http404: Kind("not-found", "There is nothing here.", "Check the address against the reference."),
    exceptions.MethodNotAllowed: Kind(
        "method-not-allowed",
        "This address doesn't know that method.",
        "Use one of those in the Allow header.",
    ),
    exceptions.NotAcceptable: Kind(
        "not-acceptable", "The answer can't be given in that form.", "Accept application/json."
    ),
    exceptions.UnsupportedMediaType: Kind(
        "unsupported-media-type",
        "The body is in a form that this address doesn't read.",
        "Send application/json, or multipart/form-data with files.",
    ),
    exceptions.Throttled: Kind(
        "too-many-requests", "Too many requests.", "Wait as long as the Retry-After header says."
    ),
    exceptions.ValidationError: Kind("invalid-input", "The input can't be taken as it is.", ""),
    RequestDataTooBig: Kind(
        "body-too-large",
        "The body is larger than this address takes.",
        "Send less at once, files as multipart.",
    ),
    SuspiciousOperation: Kind(
        "bad-request", "The request can't be understood.", "Compare it with the reference."
    ),
    TooManyFilesSent: Kind(
        "too-many-files", "Too many files at once.", "Send the frames in several requests."
    ),
}
TITLES = {
    400: "The request can't be understood.",
    403: "That is not allowed.",
    404: "There is nothing here.",
    409: "The state of this thing doesn't allow that.",
    410: "This was withdrawn.",
    413: "That is too large.",
    422: "The input can't be taken as it is.",
}


class HttpProblem(exceptions.APIException):
    """A problem of the API's own, such as a stale If-Match, with its own status and headers."""

    def __init__(self, status_code: int, problem: Problem, headers: dict[str, str] | None = None):
        self.status_code = status_code
        self.problem = problem
        self.headers = headers or {}
        super().__init__(problem.says)


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler. Unknown exceptions stay exceptions, so that they are logged as such and the
    server's own error page answers."""
    asks = context["request"].method in SAFE_METHODS
    if isinstance(error, CleanstopError):
        code = status_of(error)
        body = document(code, error.problems, of_a_question=asks)
        headers: dict[str, str] = {}
    elif isinstance(error, HttpProblem):
        code, body, headers = error.status_code, document(error.status_code, (error.problem,)), error.headers
    elif kind := next((KINDS[base] for base in type(error).__mro__ if base in KINDS), None):
        code, body, headers = _framework_problem(error, kind, asks)
    else:
        return None
    set_rollback()
    return Response(body, status=code, headers=headers, content_type=MEDIA_TYPE)


def status_of(error: CleanstopError) -> int:
    """The status with which a domain's error is answered."""
    return next(STATUS_OF_ERROR[kind] for kind in type(error).__mro__ if kind in STATUS_OF_ERROR)


def document(
    status_code: int, problems: tuple[Problem, ...], *, of_a_question: bool = False
) -> dict[str, Any]:
    """The problem document of one or more problems; its type is the first one's.

    of_a_question: fields are query parameters rather than members of a body.
    """
    first = problems[0]
    return {
        "type": TYPE_BASE + first.code,
        "title": TITLES.get(status_code, first.says),
        "status": status_code,
        "detail": " ".join(str(problem) for problem in problems[:3]),
        "errors": [_entry(problem, of_a_question) for problem in problems],
    }


def _entry(problem: Problem, of_a_question: bool) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "type": TYPE_BASE + problem.code,
        "detail": problem.says,
        "remedy": problem.remedy,
    }
    if of_a_question or problem.field.startswith("?"):
        entry |= {"parameter": problem.field.removeprefix("?")} if problem.field else {}
    elif problem.field:
        entry["pointer"] = pointer(problem.field)
    if problem.value is not None:
        entry["value"] = _plain(problem.value)
    return entry


def pointer(path: str) -> str:
    """JSON pointer (RFC 6901, in its URI fragment form) of a dotted path: sweeps[0].f_number → #/sweeps/0/f_number."""
    parts = [part for part in re.split(r"[.\[\]]+", path) if part]
    return "#/" + "/".join(part.replace("~", "~0").replace("/", "~1") for part in parts)


def _plain(value: Any) -> Any:
    """The offending value, as JSON can carry it: no NaN, no object, nothing long."""
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, float) and math.isfinite(value):
        return value
    return str(value)[:200]


def _framework_problem(
    error: Exception, kind: Kind, asks: bool
) -> tuple[int, dict[str, Any], dict[str, str]]:
    if isinstance(error, exceptions.ValidationError):
        return 422, document(422, tuple(problems_of(error.detail)), of_a_question=asks), {}
    headers = {}
    if header := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = header
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(math.ceil(wait))
    code = _status_of(error)
    detail = str(getattr(error, "detail", "") or "") or kind.title
    problem = Problem(code=kind.code, says=detail, remedy=kind.remedy)
    return code, document(code, (problem,)) | {"title": kind.title}, headers


def _status_of(error: Exception) -> int:
    if isinstance(error, Http404):
        return 404
    if isinstance(error, PermissionDenied):
        return 403
    if isinstance(error, RequestDataTooBig | TooManyFilesSent):
        return 413
    if isinstance(error, SuspiciousOperation):
        return 400
    return error.status_code


def problems_of(detail: Any, path: str = "") -> list[Problem]:
    """A serializer's nested errors as flat problems with dotted paths."""
    if isinstance(detail, dict):
        return [
            problem for name, inner in detail.items() for problem in problems_of(inner, _joined(path, name))
        ]
    if isinstance(detail, list) and any(isinstance(inner, dict | list) for inner in detail):
        return [
            problem
            for index, inner in enumerate(detail)
            for problem in problems_of(inner, f"{path}[{index}]")
        ]
    messages = detail if isinstance(detail, list) else [detail]
    return [_validation_problem(message, path) for message in messages]


def _joined(path: str, name: Any) -> str:
    if name == "non_field_errors":
        return path
    if isinstance(name, int):
        return f"{path}[{name}]"
    return f"{path}.{name}" if path else str(name)


REMEDIES = {
    "required": "Add it.",
    "null": "Give a value, or leave the field out.",
    "blank": "Give a value, or leave the field out.",
    "does_not_exist": "Look the name up under its resource first.",
    "invalid_choice": "Use one of the words that the reference lists.",
    "max_value": "Give a smaller number.",
    "min_value": "Give a larger number.",
    "max_length": "Shorten it.",
}


def _validation_problem(message: Any, path: str) -> Problem:
    code = getattr(message, "code", "invalid")
    remedy = getattr(code, "remedy", None) or REMEDIES.get(code, "Compare it with the reference.")
    return Problem(code=code.replace("_", "-"), says=str(message), remedy=remedy, field=path)
