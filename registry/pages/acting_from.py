"""Services need to know from where something is done, without being handed requests."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from registry.accounts.addresses import acting_from, address_of


class ActingFrom:
    """Middleware: what one request does is done from its sender's address."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with acting_from(address_of(request.META)):
            return self.get_response(request)
