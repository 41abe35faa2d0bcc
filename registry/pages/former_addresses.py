"""Addresses of gear that was merged into other gear lead there for as long as the merge holds."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse, HttpResponsePermanentRedirect

from registry.gear.queries import where_now

# What comes before a slug in an address of the pages or the API, and what a query calls it.
KIND_OF = {
    "lenses": "lens",
    "lens": "lens",
    "pack": "lens",
    "bodies": "body",
    "body": "body",
    "filters": "filter",
    "filter": "filter",
    "teleconverters": "teleconverter",
    "teleconverter": "teleconverter",
    "adapters": "adapter",
    "adapter": "adapter",
}
LONGEST_SLUG = 140


class PermanentRedirectKeepingMethod(HttpResponsePermanentRedirect):
    """308 (RFC 9110, 15.4.9): the request goes there as it is, a POST as a POST."""

    status_code = 308


class FormerAddresses:
    """Middleware, for pages and API alike. Only what was not found is looked at, so that finding costs nothing."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code != 404:
            return response
        there = _moved(request)
        return PermanentRedirectKeepingMethod(there) if there else response


def _moved(request: HttpRequest) -> str | None:
    """The address with every former slug in it replaced by the present one; None where it holds none. Two ways of
    writing one address (“;” and “%3B”) are no reason to send anyone from one to the other."""
    parts = request.path.split("/")
    for place in range(1, len(parts)):
        slug, dot, ending = parts[place].partition(".")
        if now := _now(parts[place - 1], slug):
            parts[place] = now + dot + ending
    query = request.GET.copy()
    for name in query:
        query.setlist(name, [_now(name, value) or value for value in query.getlist(name)])
    if "/".join(parts) == request.path and query == request.GET:
        return None
    path = quote("/".join(parts), safe="/:@!$&'()*+,;=~")
    return f"{path}?{query.urlencode()}" if query != request.GET else path + _query_as_sent(request)


def _query_as_sent(request: HttpRequest) -> str:
    sent = request.META.get("QUERY_STRING", "")
    return f"?{sent}" if sent else ""


def _now(called: str, slug: str) -> str | None:
    kind = KIND_OF.get(called)
    return where_now(kind, slug) if kind and 0 < len(slug) <= LONGEST_SLUG else None
