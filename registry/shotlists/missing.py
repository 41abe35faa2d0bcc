"""Which shots of the list have not been taken."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise, product

from registry.optics.stops import exact_av, mark_of
from registry.shotlists.setups import SAME_FOCAL_LENGTH, SetUp, Stop
from registry.shotlists.shot_list import ShotList

TARGET, CONTROL, PROOF = "target", "control", "proof"
SHARE_OF_A_GAP = 0.25  # how far, on a log scale, a focal length may be from a set-up, of the way to the next


@dataclass(frozen=True)
class Taken:
    """A frame that was taken. None where its facts are not known. purpose: "target", "control" or "proof"."""

    f_number: float | None
    focal_length_mm: float | None = None
    purpose: str = TARGET


@dataclass(frozen=True)
class Missing:
    """A shot of the list that is not there (or not often enough: frames says how many more).

    focal_length_mm: as engraved. f_number: None for the proof picture. says: in words, "f/8 at 35 mm".
    """

    purpose: str
    focal_length_mm: float | None
    f_number: float | None
    frames: int
    says: str


def missing_shots(shot_list: ShotList, taken: Iterable[Taken]) -> tuple[Missing, ...]:
    """What of a shot list is still to be taken, in the list's order.

    A frame of a zoom without a focal length, or any without an f-number, counts for nothing until it is told.
    Cameras that don't know of a teleconverter write the lens's own figures: the frames are read in the way in which
    most of them are on the list.
    """
    frames = list(taken)
    factors = {1.0, shot_list.lens.magnification}
    readings = [_there(shot_list, frames, *both) for both in product(sorted(factors), repeat=2)]
    there = max(readings, key=lambda counts: sum(counts.values()))
    proofs = sum(frame.purpose == PROOF for frame in frames)
    return (*_targets(shot_list, there), *_controls(shot_list, there), *_proof(proofs))


def _there(shot_list: ShotList, frames: list[Taken], focal_factor: float, stop_factor: float) -> Counter:
    """How many frames are there by purpose, engraved focal length and f-number, if what was written is multiplied."""
    there: Counter = Counter()
    for frame in frames:
        place = _place(shot_list.set_ups, frame.focal_length_mm, focal_factor)
        stop = place and frame.f_number and _stop(place, frame.f_number * stop_factor)
        if stop:
            there[frame.purpose, place.focal_length_mm, stop.f_number] += 1
    return there


def _targets(shot_list: ShotList, there: Counter):
    for place in shot_list.set_ups:
        for stop in place.stops:
            lacking = stop.frames - there[TARGET, place.focal_length_mm, stop.f_number]
            if lacking > 0:
                says = f"{mark_of(stop.f_number)}{_at(shot_list, place.focal_length_mm)}"
                if stop.frames > 1:
                    says = f"{lacking} of {stop.frames} frames of {says}"
                yield Missing(TARGET, place.focal_length_mm, stop.f_number, lacking, says)


def _controls(shot_list: ShotList, there: Counter):
    """A control at any stop will do: each frame is compared with the nearest."""
    taken = {focal for purpose, focal, _ in there if purpose == CONTROL}
    for focal in shot_list.control.focal_lengths_mm:
        if focal not in taken:
            says = f"the control in visible light{_at(shot_list, focal)}"
            yield Missing(CONTROL, focal, shot_list.working_f_number, 1, says)


def _proof(taken: int):
    if not taken:
        yield Missing(PROOF, None, None, 1, "a proof picture of a real scene")


def _at(shot_list: ShotList, focal_mm: float) -> str:
    return f" at {focal_mm:g} mm" if len(shot_list.set_ups) > 1 else ""


def _place(places: tuple[SetUp, ...], focal_mm: float | None, factor: float) -> SetUp | None:
    """The set-up that a written focal length belongs to."""
    if len(places) == 1:
        return places[0]
    if not focal_mm:
        return None
    away = {place: abs(math.log(focal_mm * factor / place.recorded_mm)) for place in places}
    gap = min(math.log(longer.recorded_mm / place.recorded_mm) for place, longer in pairwise(places))
    nearest = min(away, key=away.__getitem__)
    return nearest if away[nearest] <= max(SHARE_OF_A_GAP * gap, math.log(SAME_FOCAL_LENGTH)) else None


def _stop(place: SetUp, f_number: float) -> Stop | None:
    """The stop of a set-up that an f-number stands for."""
    away = {stop: abs(exact_av(stop.f_number) - exact_av(f_number)) for stop in place.stops}
    nearest = min(away, key=away.__getitem__)
    return nearest if away[nearest] <= nearest.slack_av else None
