"""What every page shows: the registry's name, the ways through it, and the reader's camera."""

from functools import cache

from django.http import HttpRequest

from registry.pages.camera import remembered
from registry.watching.queries import unread_count

NAVIGATION = (
    ("home", "Look up"),
    ("bag", "My bag"),
    ("report-start", "Report a test"),
    ("wanted-tests", "Wanted tests"),
    ("open-data", "Open data"),
    ("method", "Method"),
)


def site(request: HttpRequest) -> dict:
    match = getattr(request, "resolver_match", None)

    @cache  # the masthead asks twice; pages without a masthead never ask
    def unread_notices() -> int:
        user = getattr(request, "user", None)
        return unread_count(user) if user is not None and user.is_authenticated else 0

    return {
        "site_name": "Cleanstop",
        "navigation": NAVIGATION,
        "here": match.url_name if match else "",
        "my_camera": remembered(request),
        "unread_notices": unread_notices,
    }
