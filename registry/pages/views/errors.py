"""Error pages: what happened, and where to go from here."""

from __future__ import annotations

from django.core.exceptions import RequestDataTooBig, TooManyFilesSent
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import loader

from registry.errors import Problem

_PLAIN_500 = (
    "<!doctype html><html lang=en><title>Something broke</title><h1>Something broke on our side</h1>"
    "<p>What you had stored is safe. Please go back and try again in a minute."
)


def _page(request: HttpRequest, status: int, heading: str, problem: Problem) -> HttpResponse:
    context = {"heading": heading, "problems": (problem,), "status": status}
    return render(request, "pages/error.html", context, status=status)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    if isinstance(exception, RequestDataTooBig | TooManyFilesSent):
        return too_large(request, exception)
    return _page(
        request,
        400,
        "This request could not be read",
        Problem(
            "bad-request", "The browser sent something incomplete.", "Go back, reload the page and try again."
        ),
    )


def too_large(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _page(
        request,
        413,
        "That is too much at once",
        Problem(
            "request-too-large",
            "The browser sent more in one go than the registry takes.",
            "Go back and send the frames in several lots; those that arrived before are kept.",
        ),
    )


def not_allowed(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _page(
        request,
        403,
        "This is not yours to do",
        Problem(
            "not-allowed", "Your account may not see or do this.", "Sign in with the account it belongs to."
        ),
    )


def form_expired(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The forgery protection refused a form: nearly always a page left open too long, or cookies switched off."""
    return _page(
        request,
        403,
        "The page had been open too long",
        Problem(
            "form-expired",
            "The form’s protection against forged requests no longer matched.",
            "Go back, reload the page and send it again; allow cookies for this site. What you typed is still in the "
            "form if your browser keeps it.",
        ),
    )


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _page(
        request,
        404,
        "There is no such page",
        Problem(
            "not-found",
            f"Nothing is registered at {request.path[:120]}.",
            "Check the address, or look the lens up by its name.",
        ),
    )


def broken(request: HttpRequest) -> HttpResponse:
    """Our own fault. Rendered without the database or the session, which may be what broke."""
    problem = Problem(
        "internal",
        "Something broke on our side; it has been logged.",
        "What you had stored is safe. Go back and try again in a minute.",
    )
    context = {"heading": "Something broke on our side", "problems": (problem,), "status": 500}
    try:
        return HttpResponse(loader.render_to_string("pages/error.html", context), status=500)
    except Exception:  # whatever broke may break the template too; a plain page still helps
        return HttpResponse(_PLAIN_500, status=500)
