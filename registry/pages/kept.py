"""Parts of pages that are the same for everyone, kept under what they were made from, so that nothing is made twice.

Nothing here expires by being told: what a part was made from is in its name, and another state has another name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.messages.storage.cookie import CookieStorage as MessageStore
from django.core.cache import caches
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.utils.cache import patch_vary_headers
from django.utils.http import parse_etags

from registry.consensus.constants import METHOD_VERSION

# What no stamp tells of, such as a maker's new name, is seen after this long.
AT_MOST_SECONDS = 60 * 60
_HERE = Path(__file__).parent


def kept(made_from: tuple, make: Callable[[], Any]) -> Any:
    """What `make` makes, or made for the same thing before. made_from: everything that it depends on."""
    store = caches["pages"]
    name = name_of(*made_from)
    found = store.get(name)
    if found is None:
        found = make()
        store.set(name, found, AT_MOST_SECONDS)
    return found


def name_of(*made_from: object) -> str:
    """A short name for a state; another release of the program has other names."""
    return hashlib.sha256(repr((_programs_own_stamp(), *made_from)).encode()).hexdigest()[:32]


def kept_page(request: HttpRequest, made_from: tuple, make: Callable[[], HttpResponse]) -> HttpResponse:
    """The page as it was made for anyone before, or word that the reader holds it already; else made now, and kept.

    made_from: everything that the page depends on besides its address. Readers who are somebody have theirs made.
    """
    if not is_anonymous(request):
        return make()
    tag = name_of(request.get_full_path(), *made_from)
    if same := unchanged(request, tag):
        return same
    store, name = caches["pages"], f"page:{tag}"
    found = store.get(name)
    if found is not None:
        nonce, content = found
        fresh = content.replace(nonce, str(request.csp_nonce).encode()) if nonce else content
        return tagged(HttpResponse(fresh), tag)
    response = make()
    if response.status_code != 200 or request.META.get("CSRF_COOKIE_NEEDS_UPDATE"):
        return response
    nonce = str(request.csp_nonce).encode() if request.csp_nonce else b""
    store.set(name, (nonce, response.content), AT_MOST_SECONDS)
    return tagged(response, tag)


def unchanged(request: HttpRequest, tag: str) -> HttpResponse | None:
    """The answer to a reader who holds this very page already (RFC 9110, 13.1.2), else None."""
    held = {
        one.removeprefix("W/").strip('"') for one in parse_etags(request.headers.get("If-None-Match", ""))
    }
    return tagged(HttpResponseNotModified(), tag) if tag in held else None


def tagged(response: HttpResponse, tag: str) -> HttpResponse:
    """Let a browser keep the page and ask whether it still holds. The tag is weak: each answer has its own nonce."""
    response["ETag"] = f'W/"{tag}"'
    response["Cache-Control"] = "private, no-cache"
    patch_vary_headers(response, ["Cookie"])
    return response


def is_anonymous(request: HttpRequest) -> bool:
    """Whether the reader is nobody in particular: neither signed in nor about to be told something."""
    return not {settings.SESSION_COOKIE_NAME, MessageStore.cookie_name} & set(request.COOKIES)


@cache
def _programs_own_stamp() -> str:
    """Of the templates, styles and drawings that this process runs, and the method's version."""
    digest = hashlib.sha256(METHOD_VERSION.encode())
    for path in sorted(_HERE.rglob("*")):
        if path.suffix in (".html", ".svg", ".css", ".py", ".js"):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
