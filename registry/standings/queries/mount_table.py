"""Every lens that a mount takes, in the groups in which people think of lenses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from registry.consensus.cells import UNSTATED, cut_on_band
from registry.gear.models import Adapter, Lens, Mount, Projection
from registry.optics.field_of_view import angle_of_view
from registry.standings.models import Standing
from registry.standings.queries.answers import USUAL_CUT_ON_NM
from registry.standings.queries.lookup import LensRow, lens_rows, row_of

# Diagonal angle of view on 36 × 24 mm in degrees from which a lens is called so (common practice, no source).
VIEWS = (
    (90.0, "ultra-wide"),
    (62.0, "wide"),
    (40.0, "normal"),
    (20.0, "short telephoto"),
    (0.0, "telephoto"),
)
FISHEYES = "fisheyes"


@dataclass(frozen=True)
class MountRow:
    """A lens with its row; glass: the teleconverter or adapter that this row's standing is of, else empty."""

    row: LensRow
    glass: str = ""


@dataclass(frozen=True)
class MountGroup:
    """kind: "fixed", "zoom", "adapted" or "converters". view: which angle of view; empty where none parts them."""

    kind: str
    view: str
    rows: tuple[MountRow, ...]


def mount_table(
    mount: Mount, *, cut_on_nm: float = USUAL_CUT_ON_NM, leads: Sequence[Standing] | None = None
) -> list[MountGroup]:
    """The lenses of a mount at a cut-on: fixed focal lengths and zooms by angle of view, then adapted lenses, then
    what is known through teleconverters and adapters with glass.

    leads: the leading standings at that cut-on to say it from, as a release froze them; else today's."""
    bare = None if leads is None else [row for row in leads if not (row.teleconverter or row.adapter)]
    native = lens_rows(Lens.objects.filter(mounts=mount), cut_on_nm=cut_on_nm, leads=bare)
    lent = Adapter.objects.filter(body_mount=mount, has_glass=False).values("lens_mount")
    adapted = Lens.objects.filter(mounts__in=lent).exclude(mounts=mount).distinct()
    groups = [
        MountGroup(kind, view, tuple(MountRow(row) for row in rows))
        for kind in ("fixed", "zoom")
        for view, rows in _by_view(row for row in native if row.lens.is_zoom == (kind == "zoom"))
    ]
    groups.append(MountGroup("adapted", "", _in_order(lens_rows(adapted, cut_on_nm=cut_on_nm, leads=bare))))
    glass = _glass_leads(mount, cut_on_band(cut_on_nm)) if leads is None else _on_mount(leads, mount)
    groups.append(MountGroup("converters", "", tuple(_glass_row(row) for row in glass)))
    return [group for group in groups if group.rows]


def view_of(lens: Lens) -> str:
    """What a lens's angle of view is called; a zoom's is that in the middle of its range."""
    if lens.projection != Projection.RECTILINEAR:
        return FISHEYES
    angle = angle_of_view((lens.focal_min_mm * lens.focal_max_mm) ** 0.5)
    return next(name for least, name in VIEWS if angle >= least)


def _by_view(rows: Iterable[LensRow]) -> list[tuple[str, list[LensRow]]]:
    grouped: dict[str, list[LensRow]] = {view: [] for view in (FISHEYES, *(name for _, name in VIEWS))}
    for row in rows:
        grouped[view_of(row.lens)].append(row)
    return [(view, sorted(found, key=_by_focal_length)) for view, found in grouped.items() if found]


def _in_order(rows: Iterable[LensRow]) -> tuple[MountRow, ...]:
    return tuple(MountRow(row) for row in sorted(rows, key=_by_focal_length))


def _by_focal_length(row: LensRow) -> tuple[float, float, str]:
    return row.lens.focal_min_mm, row.lens.focal_max_mm, str(row.lens)


def _glass_leads(mount: Mount, group: str) -> QuerySet[Standing]:
    """Standings of lenses with a teleconverter of this mount, or on an adapter with glass to it."""
    through = Q(adapter__body_mount=mount) | Q(adapter=None, teleconverter__isnull=False, lens__mounts=mount)
    return (
        Standing.objects.filter(through, leads=True, cut_on_group=group)
        .select_related("lens__maker", "teleconverter__maker", "adapter__maker")
        .order_by("lens__slug", "pk")
        .distinct()
    )


def _on_mount(leads: Iterable[Standing], mount: Mount) -> Iterator[Standing]:
    """Of released standings the same; those that state no cut-on tell nothing at one."""
    for row in leads:
        if row.cut_on_group == UNSTATED or not (row.teleconverter or row.adapter):
            continue
        to_mount = [row.adapter.body_mount] if row.adapter else row.lens.mounts.all()
        if mount in to_mount:
            yield row


def _glass_row(row: Standing) -> MountRow:
    names = " and ".join(str(glass) for glass in (row.teleconverter, row.adapter) if glass)
    return MountRow(row_of(row.lens, row, row.words), names)
