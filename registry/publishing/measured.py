"""Measured excess as a release holds it, for plots that are pinned to that release."""

from __future__ import annotations

from collections import defaultdict

import pyarrow.parquet

from registry.consensus.cells import UNSTATED, cut_on_band, focal_zone
from registry.publishing.models import Release
from registry.publishing.package import path_of
from registry.publishing.queries import folder_of
from registry.publishing.tables import TABLES
from registry.standings.queries.answers import LensAnswer
from registry.standings.queries.excess import ExcessPoint, ReportExcess, ZoneExcess, excess_by_zone


def released_excess(release: Release, said: LensAnswer) -> list[ZoneExcess]:
    """The measured sweeps that a release holds for an answer's light path and cut-on group, by focal zone."""
    path = said.path
    glass = {
        name: item.slug if item else ""
        for name, item in (("teleconverter", path.teleconverter), ("adapter", path.adapter))
    }
    entries = _rows(release, "evidence", {"lens": path.lens.slug, "method": "measured", **glass})
    here = [entry for entry in entries if _group(entry) == said.here.group]
    points = defaultdict(list)
    if here:
        for row in _rows(release, "readings", {"report": [entry["report"] for entry in here]}):
            if row["excess_ev"] is not None:
                points[row["entry"]].append(ExcessPoint(row["f_number"], row["excess_ev"], row["excess_se"]))
    return excess_by_zone(
        said,
        (
            (
                focal_zone(entry["focal_mm"]),
                ReportExcess(
                    entry["report"],
                    entry["tester"],
                    entry["focal_mm"],
                    tuple(sorted(points[entry["entry"]], key=_stop)),
                ),
            )
            for entry in here
            if points[entry["entry"]]
        ),
    )


def _rows(release: Release, name: str, wanted: dict[str, str | list[str]]) -> list[dict]:
    file = folder_of(release.version) / path_of(TABLES[name], "parquet")
    filters = [(field, "in" if isinstance(value, list) else "==", value) for field, value in wanted.items()]
    return pyarrow.parquet.read_table(file, filters=filters).to_pylist()


def _group(entry: dict) -> str:
    return cut_on_band(entry["cut_on_nm"]) if entry["cut_on_nm"] else entry["cut_on_group"] or UNSTATED


def _stop(point: ExcessPoint) -> float:
    return point.f_number
