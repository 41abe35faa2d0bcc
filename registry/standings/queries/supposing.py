"""What a lens's standings would become if evidence counted otherwise: computed, never written."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from registry.accounts.voices import voices_in_force
from registry.consensus.assessment import assess_lens
from registry.consensus.cells import band_label, zone_label
from registry.gear.models import Lens
from registry.reports.models import Report, ReportState
from registry.standings.by_condition import ByCondition, stated_fields
from registry.standings.queries.evidence import (
    Joined,
    bonds_among,
    evidence_by_path,
    reports_in_state,
    usable_entries,
)
from registry.standings.queries.priors import priors_in_force
from registry.standings.queries.split_paths import conditions_in_force
from registry.standings.queries.tints import tints_by_cell
from registry.standings.rules import LightPath
from registry.standings.shapes import NO_REPORTS

Place = tuple[LightPath, str, str]  # light path, cut-on group, focal zone


@dataclass(frozen=True)
class Supposition:
    """set_aside, restored: rows of reports. joined: reports that are taken for one. parted: names of bonds that no
    longer hold. one_voice: public ids of accounts that are taken for one person's; own_voices: names of shared voices
    that no longer hold. by_condition: of one light path; None in it states the path as one again. corrected: values
    of a report's gear fields, by its row."""

    set_aside: frozenset[int] = frozenset()
    restored: frozenset[int] = frozenset()
    joined: tuple[Joined, ...] = ()
    parted: frozenset[str] = frozenset()
    one_voice: frozenset[str] = frozenset()
    own_voices: frozenset[str] = frozenset()
    by_condition: tuple[tuple[LightPath, ByCondition | None], ...] = ()
    corrected: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)


NOTHING = Supposition()


@dataclass(frozen=True)
class Moved:
    """One standing before and after: values of Standing's fields."""

    path: LightPath
    group: str
    zone: str
    before: dict
    after: dict

    @property
    def where(self) -> str:
        """The cell in words, with the light path where it is not the bare lens."""
        path = self.path
        zone = zone_label(self.zone, path.lens.focal_min_mm, path.lens.focal_max_mm)
        return f"{'' if path.is_bare else f'{path}, '}{band_label(self.group)}, {zone}"

    @property
    def verdict_changes(self) -> bool:
        return self.before["words"] != self.after["words"]

    @property
    def confidence_changes(self) -> bool:
        return self.before["confidence"] != self.after["confidence"]

    @property
    def largest_change(self) -> float:
        """Of the chance of a clean frame, at a stop that both tell of."""
        told = {stop["f_number"]: stop["p_clean"] for stop in self.before["stops"]}
        changes = [
            abs(stop["p_clean"] - told[stop["f_number"]])
            for stop in self.after["stops"]
            if stop["f_number"] in told
        ]
        return max(changes, default=0.0)


class WhatIf:
    """The evidence on some lenses, loaded once, of which any number of suppositions can be asked."""

    def __init__(self, *lenses: Lens):
        self.reports = reports_in_state((ReportState.SUBMITTED, ReportState.SET_ASIDE), *lenses)
        self.bonds = bonds_among(self.reports)
        self.voices = voices_in_force()
        self.conditions = conditions_in_force(lenses)
        self.priors = priors_in_force()
        self.now = self.standings(NOTHING)

    def standings(self, supposed: Supposition) -> dict[Place, dict]:
        """Values of Standing's fields in every cell that has evidence then."""
        counting = [self._corrected(report, supposed) for report in self._counting(supposed)]
        bonds = [bond for bond in self.bonds if bond.name not in supposed.parted]
        found: dict[Place, dict] = {}
        voices = {name: own for name, own in self.voices.items() if name not in supposed.own_voices}
        if supposed.one_voice:
            voices["supposed"] = supposed.one_voice
        for path, entries in evidence_by_path(counting, [*bonds, *supposed.joined], voices).items():
            for cell, fields in self._stated(path, entries, counting, supposed):
                found[(path, *cell)] = fields
        return found

    def moved(self, supposed: Supposition) -> list[Moved]:
        """Every standing that would say something else, or say it more or less surely."""
        then = self.standings(supposed)
        places = sorted({*self.now, *then}, key=lambda place: (str(place[0]), *place[1:]))
        pairs = [(place, self.now.get(place, NO_REPORTS), then.get(place, NO_REPORTS)) for place in places]
        return [
            Moved(*place, before=before, after=after)
            for place, before, after in pairs
            if (before["words"], before["confidence"], before["stops"])
            != (after["words"], after["confidence"], after["stops"])
        ]

    def _counting(self, supposed: Supposition) -> Iterator[Report]:
        for report in self.reports:
            counts = report.state == ReportState.SUBMITTED or report.pk in supposed.restored
            if counts and report.pk not in supposed.set_aside:
                yield report

    @staticmethod
    def _corrected(report: Report, supposed: Supposition) -> Report:
        values = supposed.corrected.get(report.pk)
        if not values:
            return report
        other = copy.copy(report)
        other._state = copy.copy(report._state)
        other._state.fields_cache = dict(report._state.fields_cache)
        for name, value in values.items():
            setattr(other, name, None if isinstance(value, dict) else value)
        return other

    def _stated(self, path: LightPath, entries: Sequence, counting: Sequence[Report], supposed: Supposition):
        optics = path.optics(reading.f_number for entry in entries for reading in entry.readings)
        usable, _ = usable_entries(list(entries), optics)
        condition = self.conditions.get((path.lens.pk, *path.key))
        for other, stated in supposed.by_condition:
            condition = stated if other == path else condition
        assessment = assess_lens(optics, usable, self.priors)
        tints = tints_by_cell(counting, path)
        return stated_fields(assessment, usable, tints, self.priors, condition=condition).items()
