"""Pages that are the same for every reader who is nobody in particular: made once, and not sent twice."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage as MessageStore
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import patch_vary_headers

from registry.kept import find, keep, kept, name_of

__all__ = ["is_anonymous", "kept", "kept_page", "name_of", "tagged", "unchanged"]

A_READERS_OWN = b"csrfmiddlewaretoken"  # a form that only the reader it was made for can send


def kept_page(request: HttpRequest, made_from: tuple, make: Callable[[], HttpResponse]) -> HttpResponse:
    """The page as it was made for anyone before, or word that the reader holds it already; else made now, and kept.

    made_from: everything that the page depends on besides its address. Readers who are somebody have theirs made,
    and so have those whose page holds a form.
    """
    if not is_anonymous(request):
        return make()
    tag = name_of(request.get_full_path(), *made_from)
    if same := unchanged(request, tag):
        return same
    found = find(f"page:{tag}")
    if found is not None:
        nonce, content = found
        fresh = content.replace(nonce, str(request.csp_nonce).encode()) if nonce else content
        return tagged(HttpResponse(fresh), tag)
    response = make()
    if response.status_code != 200 or A_READERS_OWN in response.content:
        return response
    nonce = str(request.csp_nonce).encode() if request.csp_nonce else b""
    keep(f"page:{tag}", (nonce, response.content))
    return tagged(response, tag)


def unchanged(request: HttpRequest, tag: str) -> HttpResponse | None:
    """The answer to a reader who holds this very page already (RFC 9110, 13.1.2), else None."""
    given = request.META.get("HTTP_IF_NONE_MATCH")
    return tagged(HttpResponseNotModified(), tag) if given and (f'"{tag}"' in given or given == "*") else None


def tagged(response: HttpResponse, tag: str) -> HttpResponse:
    """Let a browser keep the page and ask whether it still holds. The tag is weak: each answer has its own nonce."""
    response["ETag"] = f'W/"{tag}"'
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ["Cookie"])
    return response


def is_anonymous(request: HttpRequest) -> bool:
    """Whether the reader is nobody in particular: neither signed in nor about to be told something."""
    cookies = request.COOKIES
    return settings.SESSION_COOKIE_NAME not in cookies and MessageStore.cookie_name not in cookies
