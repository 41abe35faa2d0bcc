"""Evidence as columns, so that one lens and a whole catalogue take the same way through the engine."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.special import logit

from registry.consensus.cells import UNSTATED, cut_on_band, focal_zone, zones_of
from registry.consensus.constants import ECHO_VALUES, UNKNOWN_ZONES, VISIBLE_EV
from registry.consensus.evidence import Lens, Report
from registry.consensus.likelihood import (
    chances_from_ev,
    chances_from_grades,
    claim_steps,
    claimed_stops,
)
from registry.optics.stops import exact_av

_OF_LENS = ("lens_widest", "lens_narrowest", "lens_tele", "lens_ends", "lens_zones")
EVIDENCE, MIXED, NOTHING = 0, 1, 2
"""Kinds of report: with a likelihood; of contradicting results; of a search that found nothing."""


@dataclass(frozen=True)
class EvidenceArrays:
    """Lenses, reports and readings as columns; −1 stands for "not stated".

    lens_widest, lens_narrowest, lens_tele: Av, shape (lenses,), the last the widest at the long end;
    lens_ends: codes of the first and last focal zone, (lenses, 2); lens_zones: how many zones each covers.
    report_*: shape (reports,): index of the lens; codes of tester, copy, source and echo (any integers, one
    code one thing within a lens); codes of band and zone, into `bands` and `zones`; the kind.
    reading_*: shape (readings,): index of the report, Av, log odds of P(clean).
    claimed_*: (report, Av) pairs of stops that claims speak of.
    asked: (lens, band, zone) triples of cells wanted whether or not there is evidence, shape (n, 3).
    """

    lens_widest: np.ndarray
    lens_narrowest: np.ndarray
    lens_tele: np.ndarray
    lens_ends: np.ndarray
    lens_zones: np.ndarray
    report_lens: np.ndarray
    report_tester: np.ndarray
    report_copy: np.ndarray
    report_source: np.ndarray
    report_echo: np.ndarray
    report_band: np.ndarray
    report_zone: np.ndarray
    report_kind: np.ndarray
    reading_report: np.ndarray
    reading_av: np.ndarray
    reading_odds: np.ndarray
    claimed_report: np.ndarray
    claimed_av: np.ndarray
    bands: Sequence[str]
    zones: Sequence[str]
    asked: np.ndarray = field(default_factory=lambda: np.empty((0, 3), dtype=np.intp))

    def cases(self, kept: np.ndarray, asked: np.ndarray) -> EvidenceArrays:
        """Columns of several cases of the one lens that these are of, each with some of its reports.

        kept: which, (cases, reports). asked: codes of (band, zone) of one cell wanted in each case, (cases, 2).
        """
        count = len(kept)
        case, report = np.nonzero(kept)
        number = np.cumsum(kept).reshape(kept.shape) - 1
        reading_case, reading = np.nonzero(kept[:, self.reading_report])
        claimed_case, claimed = np.nonzero(kept[:, self.claimed_report])
        return EvidenceArrays(
            *(np.repeat(getattr(self, name), count, axis=0) for name in _OF_LENS),
            case,
            self.report_tester[report],
            self.report_copy[report],
            self.report_source[report],
            self._echoes_of(case, report),
            self.report_band[report],
            self.report_zone[report],
            self.report_kind[report],
            number[reading_case, self.reading_report[reading]],
            self.reading_av[reading],
            self.reading_odds[reading],
            number[claimed_case, self.claimed_report[claimed]],
            self.claimed_av[claimed],
            self.bands,
            self.zones,
            np.column_stack([np.arange(count), asked]),
        )

    def _echoes_of(self, case: np.ndarray, report: np.ndarray) -> np.ndarray:
        """Echoes of each case's reports: equal figures are one only where the case has a relay of them."""
        echo = self.report_echo[report]
        named = case * (int(echo.max(initial=-1)) + 2) + echo
        relayed = named[(self.report_source[report] >= 0) & (echo >= 0)]
        return np.where(np.isin(named, relayed) & (echo >= 0), echo, -1)


class _Codes(dict):
    """Numbers things in order of arrival; None is −1."""

    def code(self, key) -> int:
        return -1 if key is None else self.setdefault(key, len(self))


def band_of(conditions) -> str | None:
    """Band of a report or question: its group if it names one, else its cut-on's band, else None."""
    group = getattr(conditions, "cut_on_group", None)
    if group:
        return group
    return None if conditions.cut_on_nm is None else cut_on_band(conditions.cut_on_nm)


def zone_of(focal_mm: float | None, zones: Sequence[str]) -> str | None:
    """Zone of a focal length; of a lens with one zone only, that zone; else None."""
    if focal_mm is not None:
        return focal_zone(focal_mm)
    return zones[0] if len(zones) == 1 else None


def kind_of(report: Report) -> int:
    """Whether a report has a likelihood, or which of the two kinds of claim without one it is."""
    if report.readings or report.claim.says not in ("mixed", "nothing_found"):
        return EVIDENCE
    return MIXED if report.claim.says == "mixed" else NOTHING


def arrays_of(
    cases: Iterable[tuple[Lens, Sequence[Report]]],
    visible_ev: float = VISIBLE_EV,
    asked: Sequence[tuple[int, str, str]] = (),
) -> EvidenceArrays:
    """Columns of checked cases. asked: (case index, band, zone) of cells wanted in any event."""
    return _Columns(visible_ev).fill(cases).arrays(asked)


class _Columns:
    """Gathers the columns of many cases in one pass."""

    def __init__(self, visible_ev: float):
        self.visible_ev = visible_ev
        self.lenses: list[tuple[float, ...]] = []
        self.reports: list[tuple[int, ...]] = []
        self.readings: list[tuple[int, float, float, float, int]] = []
        self.steps: list[tuple[int, float, float]] = []
        self.claimed: list[tuple[int, float]] = []
        self.names, self.bands, self.zones = _Codes(), _Codes(), _Codes()
        self._av: dict[float, float] = {}

    def fill(self, cases: Iterable[tuple[Lens, Sequence[Report]]]) -> _Columns:
        for index, (lens, reports) in enumerate(cases):
            zones = zones_of(lens.focal_min, lens.focal_max)
            count = len(zones) or UNKNOWN_ZONES
            widest, narrowest = exact_av(lens.widest), exact_av(lens.narrowest)
            tele = exact_av(lens.widest_tele) if lens.widest_tele else widest
            ends = [self.zones.code(zone) for zone in (zones[0], zones[-1])] if zones else [-1, -1]
            self.lenses.append((widest, narrowest, tele, *ends, count))
            echoes = _echoes(reports)
            for report in reports:
                self._add(
                    index, lens, zones, report, None if echoes is None else echoes.get(_echo_key(report))
                )
        return self

    def _add(self, index: int, lens: Lens, zones: list[str], report: Report, echo: int | None) -> None:
        number, code = len(self.reports), self.names.code
        self.reports.append(
            (
                index,
                code((index, "tester", report.tester)),
                -1 if report.copy is None else code((index, "copy", report.copy)),
                -1 if report.source is None else code((index, "source", report.source)),
                -1 if echo is None else code((index, "echo", echo)),
                self.bands.code(band_of(report)),
                self.zones.code(zone_of(report.focal_mm, zones)),
                kind_of(report),
            )
        )
        for reading in report.readings:
            self.readings.append(
                (
                    number,
                    self._exact_av(reading.f_number),
                    np.nan if reading.ev is None else reading.ev,
                    np.nan if reading.ev_se is None else reading.ev_se,
                    -1 if reading.grade is None else reading.grade,
                )
            )
        if report.claim is not None and not report.readings:  # beside readings it only sums them up
            self.steps.extend((number, *step) for step in claim_steps(report.claim, lens, self.visible_ev))
            self.claimed.extend((number, av) for av in claimed_stops(report.claim, lens))

    def _exact_av(self, f_number: float) -> float:
        av = self._av.get(f_number)
        if av is None:
            av = self._av[f_number] = exact_av(f_number)
        return av

    def arrays(self, asked: Sequence[tuple[int, str, str]]) -> EvidenceArrays:
        cells = [(case, self._band_code(band), self._zone_code(zone)) for case, band, zone in asked]
        lenses = np.array(self.lenses, dtype=float).reshape(-1, 6)
        reports = np.array(self.reports, dtype=np.intp).reshape(-1, 8)
        readings = np.array(self.readings, dtype=float).reshape(-1, 5)
        steps = np.array(self.steps, dtype=float).reshape(-1, 3)
        claimed = np.array(self.claimed, dtype=float).reshape(-1, 2)
        return EvidenceArrays(
            lenses[:, 0],
            lenses[:, 1],
            lenses[:, 2],
            lenses[:, 3:5].astype(np.intp),
            lenses[:, 5].astype(np.intp),
            *reports.T,
            np.concatenate([readings[:, 0], steps[:, 0]]).astype(np.intp),
            np.concatenate([readings[:, 1], steps[:, 1]]),
            logit(np.concatenate([self._chances(readings), steps[:, 2]])),
            claimed[:, 0].astype(np.intp),
            claimed[:, 1],
            list(self.bands),
            list(self.zones),
            np.array(cells, dtype=np.intp).reshape(-1, 3),
        )

    def _band_code(self, band: str) -> int:
        return -1 if band == UNSTATED else self.bands.code(band)

    def _zone_code(self, zone: str) -> int:
        return -1 if zone == UNSTATED else self.zones.code(zone)

    def _chances(self, readings: np.ndarray) -> np.ndarray:
        measured = chances_from_ev(readings[:, 2], readings[:, 3], self.visible_ev)
        graded = chances_from_grades(self.visible_ev)[readings[:, 4].astype(np.intp)]
        return np.where(np.isnan(readings[:, 2]), graded, measured)


def _echo_key(report: Report) -> tuple | None:
    """What two reports share when one repeats the other's measured figures; None if they can't tell."""
    figures = tuple(sorted((r.f_number, r.ev) for r in report.readings if r.ev is not None))
    if len({ev for _, ev in figures}) < ECHO_VALUES:
        return None
    return figures


def _echoes(reports: Sequence[Report]) -> dict[tuple, int] | None:
    """Numbers of the measured sweeps that a relay (a report with a source) repeats; None without relays."""
    if all(report.source is None for report in reports):
        return None
    sourced = {_echo_key(report) for report in reports if report.source is not None} - {None}
    return {key: number for number, key in enumerate(sorted(sourced))}
