"""What every page shows: the registry's name, the ways through it, and the reader's camera."""

from django.http import HttpRequest

from registry.pages.camera import remembered

NAVIGATION = (
    ("home", "Look up"),
    ("bag", "My bag"),
    ("report-start", "Report a test"),
    ("method", "Method"),
)


def site(request: HttpRequest) -> dict:
    match = getattr(request, "resolver_match", None)
    return {
        "site_name": "Cleanstop",
        "navigation": NAVIGATION,
        "here": match.url_name if match else "",
        "my_camera": remembered(request),
    }
