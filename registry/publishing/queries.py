"""Reading releases."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings

from registry.consensus.cells import UNSTATED, cut_on_band
from registry.errors import NotFound, Problem
from registry.gear.models import Adapter, Lens, Teleconverter
from registry.publishing.models import Release, ReleasedStanding
from registry.standings.models import Standing
from registry.standings.queries.answers import LensAnswer, answer_from
from registry.standings.rules import LightPath


def latest_release() -> Release | None:
    return Release.objects.order_by("-made_at", "-pk").first()


def release_by_version(version: str) -> Release:
    """Raises NotFound that names the latest."""
    release = Release.objects.filter(version=version).first()
    if release is None:
        latest = latest_release()
        raise NotFound(
            Problem(
                code="unknown-release",
                field="release",
                value=version,
                says=f"There is no release “{version}”.",
                remedy=f"The latest is {latest.version}." if latest else "None has been made yet.",
            )
        )
    return release


def folder_of(version: str) -> Path:
    """Where a release's files lie."""
    return Path(settings.RELEASES_ROOT) / version


def file_of(release: Release, path: str) -> Path:
    """A file of a release. Raises NotFound for a path that it does not list."""
    if path not in release.files:
        raise NotFound(
            Problem(
                code="unknown-release-file",
                field="path",
                value=path,
                says=f"Release {release.version} has no file “{path}”.",
                remedy="Take one that its datapackage.json lists.",
            )
        )
    return folder_of(release.version) / path


def released_answer(
    release: Release,
    lens: Lens,
    *,
    cut_on_nm: float,
    teleconverter: Teleconverter | None = None,
    adapter: Adapter | None = None,
) -> LensAnswer:
    """What a release says of a lens at a cut-on (nm), in the shape of today's answer."""
    path = LightPath(lens, teleconverter, adapter if adapter and adapter.has_glass else None)
    return answer_from(
        path,
        released_rows(release, path),
        cut_on_nm=cut_on_nm,
        stated_on=release.made_at.date(),
        method_version=release.method_version,
    )


def released_rows(release: Release, path: LightPath) -> list[Standing]:
    """The standings of one light path as a release froze them: not saved, and not to be."""
    frozen = ReleasedStanding.objects.filter(
        release=release,
        lens_slug=path.lens.slug,
        teleconverter=path.teleconverter.slug if path.teleconverter else "",
        adapter=path.adapter.slug if path.adapter else "",
    )
    glass = {"lens": path.lens, "teleconverter": path.teleconverter, "adapter": path.adapter}
    return [
        Standing(**glass, cut_on_group=row.cut_on_group, focal_zone=row.focal_zone, **row.content)
        for row in frozen
    ]


def released_leads(release: Release, *, cut_on_nm: float) -> list[Standing]:
    """What a release says first of each lens at a cut-on (nm), and of those tested at none stated: not saved, and not
    to be. Gear that the catalogue has no more, under the address it had then, is left out."""
    frozen = ReleasedStanding.objects.filter(
        release=release, cut_on_group__in=(cut_on_band(cut_on_nm), UNSTATED), content__leads=True
    )
    lenses, converters, adapters = (
        {item.slug: item for item in kind.objects.select_related("maker")}
        for kind in (Lens, Teleconverter, Adapter)
    )
    return [
        Standing(
            lens=lenses[row.lens_slug],
            teleconverter=converters.get(row.teleconverter),
            adapter=adapters.get(row.adapter),
            cut_on_group=row.cut_on_group,
            focal_zone=row.focal_zone,
            **row.content,
        )
        for row in frozen.order_by("lens_slug", "pk")
        if row.lens_slug in lenses
        and row.teleconverter in ("", *converters)
        and row.adapter in ("", *adapters)
    ]
