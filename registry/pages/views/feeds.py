"""Atom feeds of what changed, answered from the newest event's number where the reader holds it already."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from django.conf import settings
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import patch_cache_control
from django.utils.http import http_date, parse_etags
from django.views.decorators.http import require_safe

from registry.gear.models import GearKind, Lens, Mount
from registry.gear.queries import gear_by_slug, mount_by_slug
from registry.watching.feeds import changes_feed, newest_change

MEDIA_TYPE = "application/atom+xml; charset=utf-8"
FRESH_SECONDS = 300
SHAPE = 1  # raised when the feed's own form changes, so that readers fetch it anew


@require_safe
def feeds(request: HttpRequest) -> HttpResponse:
    """Which feeds there are."""
    return render(request, "pages/feeds.html", {"mounts": Mount.objects.all()})


@require_safe
def all_changes(request: HttpRequest) -> HttpResponse:
    return _feed(request, lambda: ("Cleanstop: every lens", reverse("home"), None))


@require_safe
def mount_changes(request: HttpRequest, slug: str) -> HttpResponse:
    def about():
        mount = mount_by_slug(slug)
        return (
            f"Cleanstop: lenses for {mount}",
            f"{reverse('home')}?mount={mount.slug}",
            Lens.objects.filter(mounts=mount),
        )

    return _feed(request, about)


@require_safe
def lens_changes(request: HttpRequest, slug: str) -> HttpResponse:
    def about():
        lens = gear_by_slug(GearKind.LENS, slug)
        return f"Cleanstop: {lens}", reverse("lens", args=[lens.slug]), Lens.objects.filter(pk=lens.pk)

    return _feed(request, about)


def _feed(request: HttpRequest, about: Callable[[], tuple[str, str, QuerySet[Lens] | None]]) -> HttpResponse:
    """The feed, or 304 where its tag, or else its date, is the reader's (RFC 9110, 13.2.2)."""
    title, page, lenses = about()
    newest, at = newest_change(lenses)
    said = f"{SHAPE}:{settings.PUBLIC_URL}:{request.path}:{title}:{newest}"
    tag = f'"{hashlib.sha256(said.encode()).hexdigest()[:32]}"'
    dated = http_date(at.timestamp())
    if _holds(request, tag, dated):
        response = HttpResponse(status=304)
    else:
        document = changes_feed(title=title, page=page, address=request.path, lenses=lenses)
        response = HttpResponse(document, content_type=MEDIA_TYPE)
    response["ETag"], response["Last-Modified"] = tag, dated
    patch_cache_control(response, public=True, max_age=FRESH_SECONDS)
    return response


def _holds(request: HttpRequest, tag: str, dated: str) -> bool:
    given = request.headers.get("If-None-Match")
    if given is not None:
        held = {held.removeprefix("W/") for held in parse_etags(given)}
        return tag in held or "*" in held
    return request.headers.get("If-Modified-Since") == dated
