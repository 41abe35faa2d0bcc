"""The open data: releases with their files and citations, live exports, feeds."""

from __future__ import annotations

import json
import mimetypes

from django.conf import settings
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from registry.gear.models import GearKind
from registry.gear.queries import gear_once_at
from registry.pages.forms.pictures import PictureForm
from registry.pages.kept import name_of, unchanged
from registry.pages.views.lens import glass_asked_for
from registry.publishing.models import Release
from registry.publishing.package import Edition, citation, json_ld
from registry.publishing.queries import file_of, release_by_version, released_answer
from registry.publishing.tables import TABLES

A_YEAR = 60 * 60 * 24 * 365
# What would end a script element early, or begin a comment in one.
ESCAPES = {ord("<"): "\\u003C", ord(">"): "\\u003E", ord("&"): "\\u0026"}


@require_safe
def open_data(request: HttpRequest) -> HttpResponse:
    """Where to take the data from, and how to cite it."""
    releases = Release.objects.order_by("-made_at", "-pk")
    latest = releases.first()
    context = {
        "releases": releases,
        "latest": latest,
        "citation": citation(_edition(latest))["text"] if latest else "",
        "tables": TABLES.values(),
        "forms": ("csv", "ndjson", "parquet"),
    }
    return render(request, "pages/open_data.html", context)


@require_safe
def release(request: HttpRequest, version: str) -> HttpResponse:
    """One release: what is in it, what changed, how to cite it. Described for programs as a schema.org Dataset."""
    shown = release_by_version(version)
    edition = _edition(shown)
    described = json.dumps(json_ld(edition, shown.files), ensure_ascii=False).translate(ESCAPES)
    context = {
        "release": shown,
        "edition": edition,
        "cited": citation(edition),
        "described": mark_safe(described),
        "tables": _tables_with_files(shown),
        "texts": [
            (path, told)
            for path, told in sorted(shown.files.items())
            if not path.endswith((".csv", ".parquet"))
        ],
    }
    return render(request, "pages/release.html", context)


@require_safe
def release_file(request: HttpRequest, version: str, path: str) -> HttpResponse:
    """A file of a release; it never changes, and its tag is its SHA-256."""
    shown = release_by_version(version)
    file = file_of(shown, path)
    tag = shown.files[path]["sha256"]
    response = unchanged(request, tag) or FileResponse(
        file.open("rb"),
        as_attachment=True,
        filename=f"cleanstop-{version}-{file.name}",
        content_type=mimetypes.guess_type(file.name)[0] or "application/octet-stream",
    )
    response["ETag"] = f'"{tag}"'
    response["Cache-Control"] = f"public, max-age={A_YEAR}, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    return response


@require_safe
def lens_in_release(request: HttpRequest, version: str, slug: str) -> HttpResponse:
    """What a release says of a lens: the same for ever."""
    shown = release_by_version(version)
    form = PictureForm(request.GET)
    form.options()
    state = ("released", version, slug, request.GET.urlencode())
    tag = name_of(*state)
    if same := unchanged(request, tag):
        return same
    tested = gear_once_at(GearKind.LENS, slug)
    seen = form.camera()
    answer = released_answer(shown, tested, cut_on_nm=seen.cut_on_nm, **glass_asked_for(request))
    context = {"release": shown, "edition": _edition(shown), "lens": tested, "answer": answer, "seen": seen}
    return render(request, "pages/lens_released.html", context)


def _edition(shown: Release) -> Edition:
    address = f"{settings.PUBLIC_URL}{reverse('release', args=[shown.version])}"
    return Edition(shown.version, shown.made_at, shown.method_version, address)


def _tables_with_files(shown: Release) -> list[dict]:
    """Each table of a release with its rows and its files; a release keeps the tables that it was made with."""
    by_table: dict[str, dict] = {}
    for path, told in shown.files.items():
        if path.endswith((".csv", ".parquet")):
            name, _, suffix = path.rpartition("/")[2].rpartition(".")
            row = by_table.setdefault(
                name,
                {"name": name, "rows": told["rows"], "says": TABLES[name].says if name in TABLES else ""},
            )
            row[suffix] = (path, told)
    return list(by_table.values())
