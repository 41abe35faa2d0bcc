"""For a lens that is hot or unknown: which clean ones see the same angle on the same camera."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.db.models import Q

from registry.consensus.constants import SAME_STOP_AV
from registry.consensus.verdicts import CONFIDENCES
from registry.gear.models import Adapter, Lens, Mount, Projection
from registry.optics.field_of_view import angle_of_view
from registry.optics.stops import exact_av
from registry.standings.models import Standing
from registry.standings.queries.answers import LensAnswer
from registry.standings.queries.lookup import LensRow, lens_rows

WORKING_F = 8.0  # people stop down to f/8 for depth of field at least (common practice, no source)
WORKING_AV = exact_av(WORKING_F)
FURTHEST = 0.6  # octaves of angle of view; beyond, a lens is for something else
SAME_ANGLE = 0.25  # octaves that most people take for one angle: 24 and 28 mm, 85 and 100 mm
SHOWN = 4


@dataclass(frozen=True)
class Alternative:
    """row: what is said of the lens. adapted: it needs an adapter on this mount. off: octaves of angle of view that it
    misses of what the lens asked about sees."""

    row: LensRow
    adapted: bool
    off: float

    @property
    def same_angle(self) -> bool:
        return self.off <= SAME_ANGLE


def needs_alternatives(said: LensAnswer) -> bool:
    """Whether a reader would look for another lens: no verdict, or none that reaches the working aperture."""
    if said.worst is None:
        return True
    code, f_number = said.worst.says
    if code in ("clean-throughout", "clean-as-far-as-tested"):
        return False
    return code != "clean-to" or exact_av(f_number) < WORKING_AV - SAME_STOP_AV


def instead_of(lens: Lens, *, mount: str, cut_on_nm: float, group: str) -> list[Alternative]:
    """The clean lenses nearest in angle of view, native to a mount or adapted to it without glass, nearest first and
    of equally near ones the surest.

    mount: slug of the reader's mount; empty for the lens's own ones. group: the cut-on group of cut_on_nm.
    """
    mounts = set(Mount.objects.filter(slug=mount) if mount else lens.mounts.all())
    lent = Adapter.objects.filter(body_mount__in=mounts, has_glass=False).values_list("lens_mount", flat=True)
    reachable = {one.pk for one in mounts} | set(lent)
    clean = Standing.objects.filter(
        Q(verdict="clean-throughout") | Q(clean_to_av__gte=WORKING_AV - SAME_STOP_AV),
        leads=True,
        cut_on_group=group,
        teleconverter=None,
        adapter=None,
        confidence__in=CONFIDENCES,
    ).exclude(verdict__in=("one-report", "reports-differ"))
    found = Lens.objects.filter(mounts__in=reachable, standings__in=clean).exclude(pk=lens.pk).distinct()
    near = [(off, other) for other in found if (off := angle_off(lens, other)) <= FURTHEST]
    return _ranked(near, mounts, cut_on_nm)


def _ranked(near: list[tuple[float, Lens]], mounts: set[Mount], cut_on_nm: float) -> list[Alternative]:
    offs = {other.pk: off for off, other in near}
    rows = lens_rows(Lens.objects.filter(pk__in=offs), cut_on_nm=cut_on_nm)
    every = [Alternative(row, not set(row.lens.mounts.all()) & mounts, offs[row.lens.pk]) for row in rows]
    every.sort(
        key=lambda one: (
            round(one.off / SAME_ANGLE),
            one.adapted,
            -CONFIDENCES.index(one.row.confidence),
            one.off,
            one.row.lens.slug,
        )
    )
    return every[:SHOWN]


def angle_off(wanted: Lens, other: Lens) -> float:
    """How much of a lens's range of view another one misses, in octaves of the diagonal angle: 0 where it covers it.

    A fisheye draws differently and replaces only a fisheye.
    """
    if (wanted.projection == Projection.RECTILINEAR) != (other.projection == Projection.RECTILINEAR):
        return math.inf
    wide, tele = (math.log2(_angle(wanted, end)) for end in (wanted.focal_min_mm, wanted.focal_max_mm))
    other_wide, other_tele = (
        math.log2(_angle(other, end)) for end in (other.focal_min_mm, other.focal_max_mm)
    )
    return max(0.0, wide - other_wide) + max(0.0, other_tele - tele)


def _angle(lens: Lens, focal_mm: float) -> float:
    return angle_of_view(focal_mm, fisheye=lens.projection != Projection.RECTILINEAR)
