"""Frames that show what a verdict says: the last clean stop, and the next; where reports differ, one of each side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import prefetch_related_objects

from registry.consensus.cells import focal_zone
from registry.optics.stops import exact_av, mark_of
from registry.photometry.measurement import Measurement
from registry.reports.models import ImagePurpose, ImageState, Report, ReportState, SampleImage
from registry.reports.queries import overlay_of
from registry.standings.models import Conflict
from registry.standings.queries.answers import LensAnswer, ZoneAnswer
from registry.standings.queries.conflicts import CAMP_NAMES
from registry.standings.queries.excess import group_of
from registry.standings.queries.sayings import CAMP_ORDER

SAME_STOP = 0.26  # Av: a frame a third stop off would show something else
ZONES_SHOWN = 3


@dataclass(frozen=True)
class ProofFrame:
    """A frame at (nearly) one of the stops. says: what it shows, "f/8, the last clean stop"."""

    image: SampleImage
    report: Report
    says: str
    measured: Measurement | None


@dataclass(frozen=True)
class Proof:
    """The frames of one focal zone: widest aperture first, of the report that has most of them; where reports differ,
    one of each side at one stop, the side that is hot sooner first."""

    label: str
    frames: tuple[ProofFrame, ...]


def proof_of_verdicts(
    said: LensAnswer, reports: Iterable[Report], conflicts: Iterable[Conflict] = ()
) -> list[Proof]:
    """Frames at the stop where each zone's verdict turns, the worst zone first.

    reports: those on the answer's light path, with their images loaded. conflicts: the path's open ones.
    """
    usable = [
        (report, image)
        for report in reports
        if report.state == ReportState.SUBMITTED and group_of(report) == said.here.group
        for image in report.images.all()
        if _shows_a_target(image)
    ]
    zones = sorted((zone for zone in said.zones if zone.tested), key=lambda zone: zone is not said.worst)
    here = [one for one in conflicts if one.standing.cut_on_group == said.here.group]
    chosen = [(zone, _frames_of(zone, _in_zone(usable, zone), here)) for zone in zones[:ZONES_SHOWN]]
    prefetch_related_objects([image for _, frames in chosen for _, image, _ in frames], "measurements")
    return [
        Proof(
            zone.label,
            tuple(ProofFrame(image, report, says, overlay_of(image)) for report, image, says in frames),
        )
        for zone, frames in chosen
        if frames
    ]


def turning_stops(zone: ZoneAnswer) -> list[tuple[float, str]]:
    """The stops at which a zone's verdict can be seen, each with what it is."""
    rungs = [stop.f_number for stop in zone.stops if stop.on_ladder]
    tested = [stop.f_number for stop in zone.stops if stop.on_ladder and stop.tested]
    code, f_number = zone.says
    if code == "clean-to":
        beyond = [stop for stop in rungs if exact_av(stop) > exact_av(f_number) + SAME_STOP]
        return [(f_number, "the last clean stop"), *((stop, "the next stop") for stop in beyond[:1])]
    if code == "hot-from":
        return [(f_number, "the first hot stop")]
    if code in ("clean-throughout", "clean-as-far-as-tested") and tested:
        return [(tested[-1], "the narrowest stop tested")]
    if code in ("never-clean", "no-safe-stop") and tested:
        return [(tested[0], "the widest stop tested")]
    if code == "reports-differ" and tested:
        return [(tested[-1], "the narrowest stop tested")]
    return []


def _shows_a_target(image: SampleImage) -> bool:
    judged = image.state in (ImageState.MEASURED, ImageState.UNCERTAIN) or image.grade is not None
    return bool(image.purpose == ImagePurpose.TARGET and judged and image.picture and image.f_number)


def _in_zone(usable: Sequence[tuple[Report, SampleImage]], zone: ZoneAnswer) -> list[tuple]:
    return [
        (report, image)
        for report, image in usable
        if image.focal_length_mm and focal_zone(image.focal_length_mm) == zone.zone
    ]


def _frames_of(zone: ZoneAnswer, usable: Sequence[tuple], conflicts: Iterable[Conflict]) -> list[tuple]:
    """(report, image, words) of one zone."""
    if zone.verdict == "reports-differ":
        for conflict in conflicts:
            at_odds = conflict.standing.focal_zone == zone.zone and _of_both_sides(
                zone, usable, conflict.camps
            )
            if at_odds:
                return at_odds
    return _chosen(turning_stops(zone), usable)


def _of_both_sides(
    zone: ZoneAnswer, usable: Sequence[tuple], camps: Mapping[str, Sequence[Mapping]]
) -> list[tuple]:
    """A frame of each side at one stop: of those at which both have one, the stop whose chance is nearest one half.
    Empty where no stop has both."""
    sides = [
        (CAMP_NAMES[name].lower(), {told["report"] for told in camps[name]})
        for name in CAMP_ORDER
        if camps.get(name)
    ]
    tested = [stop for stop in zone.stops if stop.on_ladder and stop.tested]
    for stop in sorted(tested, key=lambda stop: abs(stop.p_clean - 0.5)):
        frames = [
            next(
                (
                    (report, image, f"{mark_of(image.f_number)}, {title}")
                    for report, image in usable
                    if report.public_id in members
                    and abs(exact_av(image.f_number) - exact_av(stop.f_number)) < SAME_STOP
                ),
                None,
            )
            for title, members in sides
        ]
        if len(frames) > 1 and all(frames):
            return frames
    return []


def _chosen(stops: Sequence[tuple[float, str]], usable: Sequence[tuple]) -> list[tuple]:
    """(report, image, words) at each stop, from the report that has frames at most of them."""
    by_report: dict[str, list[tuple]] = {}
    for report, image in usable:
        for f_number, words in stops:
            if abs(exact_av(image.f_number) - exact_av(f_number)) < SAME_STOP:
                says = f"{mark_of(image.f_number)}, {words}"
                frames = by_report.setdefault(report.public_id, [])
                if not any(known[1].f_number == image.f_number for known in frames):
                    frames.append((report, image, says))
    best = max(by_report.values(), key=len, default=[])
    return sorted(best, key=lambda frame: exact_av(frame[1].f_number))
