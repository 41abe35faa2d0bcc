"""Which focal lengths, and at each of them which stops."""

from __future__ import annotations

import math
from dataclasses import dataclass

from registry.optics.stops import as_marked, av_of, exact_av, f_number_of, full_stops_between, same_stop
from registry.shotlists.facts import LensFacts

REPEATS = 2  # further frames at one stop, from which the measurement learns how far equal frames differ
REPEATED_NEAR = 8.0  # where blades repeat worse than wide open and most hotspots show
SAME_FOCAL_LENGTH = 1.06  # focal lengths nearer than this are one set-up
HALF_A_THIRD = 0.17  # Av: further away than this, a stop is not the one two stops down
ESTIMATED_SLACK = 0.34  # Av: how far a zoom's widest stop between its ends may be from the estimate


@dataclass(frozen=True)
class Stop:
    """One aperture to set.

    f_number: through all glass, as marked. longer_ev: how many stops longer the shutter stays open than at the
    set-up's widest aperture. frames: to take there. why: "widest", "two stops down", "repeated", "narrowest".
    slack_av: how far from it a frame's f-number may be and still be this stop's.
    """

    f_number: float
    longer_ev: float
    frames: int = 1
    why: tuple[str, ...] = ()
    slack_av: float = HALF_A_THIRD


@dataclass(frozen=True)
class SetUp:
    """One focal length: where to set the lens, and its stops from the widest on.

    focal_length_mm: as engraved. recorded_mm: through all glass, as a camera that knows of it writes.
    widest_estimated: the widest aperture is inferred from the ends of the zoom.
    """

    focal_length_mm: float
    recorded_mm: float
    stops: tuple[Stop, ...]
    widest_estimated: bool = False

    @property
    def frames(self) -> int:
        return sum(stop.frames for stop in self.stops)


def set_ups(lens: LensFacts) -> tuple[SetUp, ...]:
    """Both ends of a zoom and the middle of its range on a logarithmic scale; a prime's one.

    Repeats are asked for once, at the middle one. The middle is left out where it is within 6 % of an end.
    """
    focal_lengths = _focal_lengths(lens)
    repeated = focal_lengths[len(focal_lengths) // 2] if len(focal_lengths) != 2 else focal_lengths[0]
    return tuple(_set_up(lens, focal, repeat=focal == repeated) for focal in focal_lengths)


def _focal_lengths(lens: LensFacts) -> list[float]:
    if not lens.is_zoom:
        return [lens.focal_min_mm]
    middle = float(_rounded(math.sqrt(lens.focal_min_mm * lens.focal_max_mm)))
    apart = lens.focal_min_mm * SAME_FOCAL_LENGTH < middle < lens.focal_max_mm / SAME_FOCAL_LENGTH
    return [lens.focal_min_mm, *([middle] if apart else []), lens.focal_max_mm]


def _rounded(focal_mm: float) -> float:
    """To what a zoom ring can be set to: 5 mm from 100 mm on, else 1 mm."""
    step = 5 if focal_mm >= 100 else 1
    return step * round(focal_mm / step)


def _set_up(lens: LensFacts, focal_mm: float, *, repeat: bool) -> SetUp:
    widest, estimated = lens.widest_at(focal_mm)
    f_numbers = _with_two_stops_down(
        full_stops_between(widest, lens.narrowest_through_glass()), slack=_slack(estimated)
    )
    repeated = _repeated(f_numbers) if repeat else None
    stops = tuple(
        Stop(
            f_number,
            longer_ev=round(exact_av(f_number) - exact_av(widest), 4),
            frames=1 + (REPEATS if f_number == repeated else 0),
            why=tuple(_reasons(f_number, f_numbers, repeated, _slack(estimated))),
            slack_av=_slack(estimated and f_number == widest),
        )
        for f_number in f_numbers
    )
    return SetUp(focal_mm, _recorded(focal_mm * lens.magnification), stops, estimated)


def _slack(estimated: bool) -> float:
    return ESTIMATED_SLACK if estimated else HALF_A_THIRD


def _recorded(focal_mm: float) -> float:
    return float(f"{focal_mm:.3g}")


def _with_two_stops_down(f_numbers: list[float], *, slack: float) -> list[float]:
    """The stops with the one two stops down from the widest, where the lens has it and no full stop is it."""
    wanted = exact_av(f_numbers[0]) + 2
    if wanted > exact_av(f_numbers[-1]) or any(abs(exact_av(stop) - wanted) <= slack for stop in f_numbers):
        return f_numbers
    return sorted({*f_numbers, as_marked(f_number_of(wanted))}, key=exact_av)


def _repeated(f_numbers: list[float]) -> float:
    """The stop to repeat: nearest to f/8, never the widest where there is another."""
    return min(f_numbers[1:] or f_numbers, key=lambda stop: abs(av_of(stop) - av_of(REPEATED_NEAR)))


def _reasons(f_number: float, f_numbers: list[float], repeated: float | None, slack: float):
    if f_number == f_numbers[0]:
        yield "widest"
    if abs(exact_av(f_number) - exact_av(f_numbers[0]) - 2) <= slack:
        yield "two stops down"
    if f_number == repeated:
        yield "repeated"
    if same_stop(f_number, f_numbers[-1]) and len(f_numbers) > 1:
        yield "narrowest"
