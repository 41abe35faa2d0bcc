"""Measured excess against aperture, each report's points by themselves, beside what they pool to."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from registry.consensus.cells import UNSTATED, cut_on_band, focal_zone
from registry.reports.models import Report, ReportState
from registry.standings.queries.answers import LensAnswer


@dataclass(frozen=True)
class ExcessPoint:
    """One measured stop: excess and its standard error in EV."""

    f_number: float
    ev: float
    se: float


@dataclass(frozen=True)
class ReportExcess:
    """One sweep's points, widest aperture first. report: public id. name: who tested, with the focal length."""

    report: str
    tester: str
    focal_mm: float
    points: tuple[ExcessPoint, ...]

    def at(self, f_number: float) -> ExcessPoint | None:
        return next((point for point in self.points if point.f_number == f_number), None)


@dataclass(frozen=True)
class PooledExcess:
    """What the testers' excess at one stop pools to (Paule–Mandel), with its 95 % Hartung–Knapp interval; no
    interval from one tester alone."""

    f_number: float
    ev: float
    low: float | None
    high: float | None
    testers: int


@dataclass(frozen=True)
class ZoneExcess:
    """All measured sweeps of one focal zone."""

    zone: str
    label: str
    sweeps: tuple[ReportExcess, ...]
    pooled: tuple[PooledExcess, ...]

    @property
    def f_numbers(self) -> list[float]:
        """Every stop that somebody measured, widest first."""
        return sorted({point.f_number for sweep in self.sweeps for point in sweep.points})


def excess_of(said: LensAnswer, reports: Iterable[Report]) -> list[ZoneExcess]:
    """The measured sweeps at the answer's cut-on group, by focal zone, shortest first; zones without one left out.

    reports: those on the answer's light path, with sweeps and readings loaded. Only reports that count are told.
    """
    counting = (
        report
        for report in reports
        if report.state == ReportState.SUBMITTED and group_of(report) == said.here.group
    )
    return excess_by_zone(said, (placed for report in counting for placed in _sweeps(report)))


def excess_by_zone(said: LensAnswer, sweeps: Iterable[tuple[str, ReportExcess]]) -> list[ZoneExcess]:
    """Measured sweeps, each with its focal zone, beside what the answer's zones pool them to."""
    placed: dict[str, list[ReportExcess]] = defaultdict(list)
    for zone, sweep in sweeps:
        placed[zone].append(sweep)
    return [
        ZoneExcess(zone.zone, zone.label, tuple(placed[zone.zone]), _pooled(zone.agreement))
        for zone in said.zones
        if zone.zone in placed
    ]


def group_of(report: Report) -> str:
    """The cut-on group that a report's evidence falls into."""
    return cut_on_band(report.cut_on_nm) if report.cut_on_nm else report.light_group or UNSTATED


def _sweeps(report: Report) -> Iterable[tuple[str, ReportExcess]]:
    for sweep in report.sweeps.all():
        points = sorted(
            (
                ExcessPoint(reading.f_number, reading.excess_ev, reading.excess_se)
                for reading in sweep.readings.all()
                if reading.excess_ev is not None
            ),
            key=lambda point: point.f_number,
        )
        if points:
            tester = report.tester_name or report.author.name
            yield (
                focal_zone(sweep.focal_length_mm),
                ReportExcess(report.public_id, tester, sweep.focal_length_mm, tuple(points)),
            )


def _pooled(agreement: Mapping) -> tuple[PooledExcess, ...]:
    return tuple(
        PooledExcess(stop["f_number"], pooled["mean"], pooled["low"], pooled["high"], pooled["n"])
        for stop in agreement.get("excess", ())
        if (pooled := stop["paule_mandel"])
    )
