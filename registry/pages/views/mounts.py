"""A mount's whole table: every lens that it takes, at one cut-on."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.gear.queries import mount_by_slug
from registry.pages import camera
from registry.pages.editions import live_edition
from registry.pages.figures import common_scale
from registry.pages.forms.look_up import CameraForm
from registry.pages.kept import kept
from registry.publishing.queries import latest_release
from registry.standings import queries as standings

KINDS = {
    "fixed": "Fixed focal lengths",
    "zoom": "Zooms",
    "adapted": "On an adapter",
    "converters": "Through glass",
}


@require_safe
def mount(request: HttpRequest, slug: str) -> HttpResponse:
    """The table as a page, with the pictures of it that can be published."""
    shown = mount_by_slug(slug)
    form = CameraForm(request.GET)
    seen = camera.seen_through(request, form.asked())
    stamp = standings.catalogue_stamp()
    groups = kept(
        ("mount", slug, stamp, seen.cut_on_nm),
        lambda: [
            (heading_of(group), group.rows)
            for group in standings.mount_table(shown, cut_on_nm=seen.cut_on_nm)
        ],
    )
    query = f"cut_on_nm={seen.cut_on_nm:g}"
    context = {
        "mount": shown,
        "seen": seen,
        "form": form,
        "groups": groups,
        "scale": common_scale(row.row.ladder for _, rows in groups for row in rows),
        "edition": live_edition(None),
        "release": latest_release(),
        "query": query,
        "address": f"{settings.PUBLIC_URL}{request.path}?{query}",
    }
    return render(request, "pages/mount.html", context, status=200 if form.is_valid() else 422)


def heading_of(group: standings.MountGroup) -> str:
    """A group's name: "Zooms, wide"."""
    return f"{KINDS[group.kind]}, {group.view}" if group.view else KINDS[group.kind]
