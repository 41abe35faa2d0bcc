"""How a problem reaches a person who reads pages: beside its field where there is a form, else on a page of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry import errors

STATUS: dict[type[errors.CleanstopError], tuple[int, str]] = {
    errors.InvalidInput: (422, "This can’t be taken as it is"),
    errors.NotAllowed: (403, "This is not yours to do"),
    errors.NotFound: (404, "There is no such page"),
    errors.Conflict: (409, "This can’t be done now"),
    errors.TooLarge: (413, "That is too much at once"),
    errors.Unreadable: (422, "This file could not be read"),
}


class ProblemPages:
    """Middleware: an error of ours that no view has caught becomes a page that says what to do."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, errors.CleanstopError) or request.path.startswith("/api/"):
            return None
        status, title = status_of(exception)
        context = {"heading": title, "problems": exception.problems, "status": status}
        return render(request, "pages/error.html", context, status=status)


def status_of(error: errors.CleanstopError) -> tuple[int, str]:
    """HTTP status and heading of an error's type."""
    return next(shown for kind, shown in STATUS.items() if isinstance(error, kind))


def put_beside_fields(
    form: forms.Form, error: errors.CleanstopError, names: Mapping[str, str] | None = None
) -> None:
    """Attach each problem to the form field it concerns; the whole form where there is none.

    names: what the service calls a field → what the form calls it, where they differ.
    """
    for problem in error.problems:
        name = (names or {}).get(problem.field, problem.field)
        form.add_error(name if name in form.fields else None, str(problem))
