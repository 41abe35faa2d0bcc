"""Counting how often lenses are looked up, without keeping who looked."""

from __future__ import annotations

import re
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from registry.consensus.cells import cut_on_band
from registry.pages import camera
from registry.pages.forms.look_up import CameraForm
from registry.wanted.counting import buffer

ROBOTS = re.compile(r"bot|crawl|spider|slurp|preview|monitor|curl|wget|python", re.IGNORECASE)
ASKED_FOR = {200, 304}  # a page that the reader holds already is looked up all the same


class CountLookUps:
    """Middleware: a lens's page that a person opened counts as one look-up at their cut-on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        match = request.resolver_match
        if match and match.url_name == "lens" and _counts(request, response):
            named = request.GET.get("cut_on_nm")
            asked = CameraForm({"cut_on_nm": named}).asked() if named else {}
            seen = camera.seen_through(request, asked)
            every = settings.LOOK_UPS_WRITTEN_EVERY_SECONDS
            buffer.note(match.kwargs["slug"], cut_on_band(seen.cut_on_nm), every_seconds=every)
        return response


def _counts(request: HttpRequest, response: HttpResponse) -> bool:
    """Not what a program fetches, a browser guesses, or a page asks for while it is open."""
    return (
        request.method == "GET"
        and response.status_code in ASKED_FOR
        and not request.headers.get("HX-Request")
        and "prefetch" not in request.headers.get("Sec-Purpose", "")
        and not ROBOTS.search(request.headers.get("User-Agent") or "bot")
    )
