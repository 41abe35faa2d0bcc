"""Where a patch is a tint without brightness."""

from __future__ import annotations

from collections import defaultdict

from registry.consensus.cells import cut_on_band, focal_zone
from registry.consensus.constants import VISIBLE_EV
from registry.reports.models import Report
from registry.standings.rules import LightPath, path_of, tinted_from


def tints_by_cell(
    reports: list[Report], path: LightPath, visible_ev: float = VISIBLE_EV
) -> dict[tuple[str, str], float]:
    """The f-number from which a light path is tinted though clean in brightness, by (cut-on group, zone)."""
    readings = defaultdict(list)
    for report in reports:
        group = cut_on_band(report.cut_on_nm) if report.cut_on_nm else report.light_group
        if path_of(report) != path or not group:
            continue
        for sweep in report.sweeps.all():
            readings[group, focal_zone(sweep.focal_length_mm)].extend(sweep.readings.all())
    found = {cell: tinted_from(rows, visible_ev) for cell, rows in readings.items()}
    return {cell: f_number for cell, f_number in found.items() if f_number is not None}
