"""A lens with a teleconverter, or on an adapter with glass: standings of its own, which the bare lens never lends."""

from __future__ import annotations

from dataclasses import dataclass

from registry.consensus.cells import band_label, cut_on_band
from registry.gear.models import Adapter, Lens, Teleconverter
from registry.standings.models import Standing
from registry.standings.queries.answers import USUAL_CUT_ON_NM


@dataclass(frozen=True)
class PathSaid:
    """One light path with standings. band: label of another cut-on group, where the reader's is not tested."""

    teleconverter: Teleconverter | None
    adapter: Adapter | None
    sentence: str
    band: str

    @property
    def is_bare(self) -> bool:
        return self.teleconverter is None and self.adapter is None


def paths_of(lens: Lens, *, cut_on_nm: float | None = None) -> list[PathSaid]:
    """Every light path of a lens that has been tested, the bare lens first, with its sentence at the stored
    tolerance: at the reader's cut-on, or else at whichever cut-on there is."""
    here = cut_on_band(cut_on_nm or USUAL_CUT_ON_NM)
    leading = Standing.objects.filter(lens=lens, leads=True).select_related(
        "teleconverter__maker", "adapter__maker"
    )
    by_path: dict[tuple, list[Standing]] = {}
    for row in leading:
        by_path.setdefault((row.teleconverter_id or 0, row.adapter_id or 0), []).append(row)
    return [_said(rows, here) for _, rows in sorted(by_path.items())]


def _said(rows: list[Standing], here: str) -> PathSaid:
    row = next((row for row in rows if row.cut_on_group == here), rows[0])
    band = "" if row.cut_on_group == here else band_label(row.cut_on_group)
    return PathSaid(row.teleconverter, row.adapter, row.sentence, band)
