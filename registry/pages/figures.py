"""Geometry of the aperture ladder: chances in, SVG coordinates out. No wording of verdicts, no statistics.

Coordinates are in the SVG's own user units, y downwards, rounded to hundredths so that equal input draws
equal files.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from registry.optics.stops import exact_av, mark_of

SHADES = 6  # steps of the single-hue scale in tokens.css, even in perceived lightness


class Chance(Protocol):
    """One stop of a standing: the chance that a frame is clean there, and its 90 % interval."""

    f_number: float
    p_clean: float | None
    low: float | None
    high: float | None
    tested: bool
    on_ladder: bool


@dataclass(frozen=True)
class LadderSize:
    """Measures of one form of the ladder, in SVG units."""

    step: float
    gap: float
    height: float
    head: float
    foot: float
    hair: float


LARGE = LadderSize(step=30, gap=4, height=96, head=17, foot=26, hair=3.5)
SMALL = LadderSize(step=17, gap=2, height=24, head=1, foot=22, hair=0)
SAME_PLACE_AV = 0.1  # a rung this near to a full stop is that stop
LABEL_CLEARANCE = 2  # steps of the small ladder that one label needs to itself


@dataclass(frozen=True)
class Step:
    """One stop drawn: its frame, its filled part, its interval's hairline."""

    x: float
    middle: float
    fill_y: float
    fill_height: float
    shade: int
    hair_above: str  # the hairline's path over the open part of the step
    hair_inside: str  # and over a fill too dark for it to be drawn in ink
    mark: str
    figure: str
    tested: bool
    percent: int | None
    low_percent: int | None
    high_percent: int | None


@dataclass(frozen=True)
class Label:
    """A stop's mark under its step; `place` says how the text is anchored there."""

    x: float
    mark: str
    place: str


@dataclass(frozen=True)
class Ladder:
    """The aperture ladder: one step per stop from the widest to the narrowest aperture."""

    size: LadderSize
    steps: tuple[Step, ...]
    width: float
    height: float
    bracket: tuple[float, float] | None
    labels: tuple[Label, ...]
    small: bool

    @property
    def base(self) -> float:
        return self.size.head + self.size.height

    @property
    def bracket_y(self) -> float:
        return self.base + (4 if self.small else 5)

    @property
    def label_y(self) -> float:
        return self.height - 3

    @property
    def percent_y(self) -> float:
        return self.size.head - 5

    @property
    def tested_any(self) -> bool:
        return any(step.tested for step in self.steps)


def _percent(share: float | None) -> int | None:
    """Whole percent, never 0 or 100: no amount of evidence makes a chance certain."""
    return None if share is None else min(99, max(1, round(100 * share)))


def _hairline(middle: float, top: float, bottom: float, cap: float, ends: tuple[float, float]) -> str:
    """Path of the part of a hairline from top to bottom, with caps where the part reaches the hairline's ends."""
    if bottom <= top:
        return ""
    path = f"M{middle} {round(top, 2)}V{round(bottom, 2)}"
    for end in ends:
        if cap and top <= end <= bottom:
            path += f"M{round(middle - cap, 2)} {round(end, 2)}h{2 * cap}"
    return path


def _step(chance: Chance, place: int, size: LadderSize) -> Step:
    x = place * (size.step + size.gap) + 1
    base = size.head + size.height
    shown = chance.tested and chance.p_clean is not None
    share = chance.p_clean if shown else 0.0
    interval = shown and chance.low is not None and chance.high is not None
    middle = round(x + size.step / 2, 2)
    fill_y = base - share * size.height
    shade = min(SHADES - 1, int(share * SHADES))
    top, bottom = (base - chance.high * size.height, base - chance.low * size.height) if interval else (0, 0)
    split = fill_y if shade >= SHADES / 2 else base
    return Step(
        x=round(x, 2),
        middle=middle,
        fill_y=round(fill_y, 2),
        fill_height=round(share * size.height, 2),
        shade=shade,
        hair_above=_hairline(middle, top, min(bottom, split), size.hair, (top, bottom)) if interval else "",
        hair_inside=_hairline(middle, max(top, split), bottom, size.hair, (top, bottom)) if interval else "",
        mark=mark_of(chance.f_number),
        figure=f"{chance.f_number:g}",
        tested=bool(shown),
        percent=_percent(share) if shown else None,
        low_percent=_percent(chance.low) if interval else None,
        high_percent=_percent(chance.high) if interval else None,
    )


def stated_limit(verdict: str, f_number: float | None, chances: Sequence[Chance]) -> float | None:
    """The last f-number that a verdict states as clean, None when it states none."""
    if verdict in ("clean-to", "clean-as-far-as-tested"):
        return f_number
    rungs = [chance.f_number for chance in chances if chance.on_ladder]
    return rungs[-1] if verdict == "clean-throughout" and rungs else None


@dataclass(frozen=True)
class Scale:
    """Where ladders that stand under each other begin and end, so that one stop is at one place in all of them:
    the first step's place on the full-stop scale (f/1 is 0), and how many steps there are."""

    first: int
    count: int


def common_scale(ladders: Iterable[Sequence[Chance]]) -> Scale | None:
    """The scale that holds all these ladders; None when none has a step."""
    rungs = [[chance for chance in chances if chance.on_ladder] for chances in ladders]
    spans = [(first := _first_place(own), first + len(own)) for own in rungs if own]
    if not spans:
        return None
    start = min(first for first, _ in spans)
    return Scale(start, max(end for _, end in spans) - start)


def _first_place(rungs: Sequence[Chance]) -> int:
    """Place of the first step on the full-stop scale. A widest value between two stops takes the place before the
    first full stop, whatever it is."""
    for index, rung in enumerate(rungs):
        av = exact_av(rung.f_number)
        if abs(av - round(av)) < SAME_PLACE_AV:
            return round(av) - index
    return round(exact_av(rungs[0].f_number))


def ladder(
    chances: Sequence[Chance],
    *,
    clean_to: float | None = None,
    small: bool = False,
    scale: Scale | None = None,
) -> Ladder:
    """Draw the chances of a clean frame, widest aperture first; stops between the rungs are left out.

    clean_to: the last f-number that the verdict calls clean; a bracket runs under the stops up to it.
    scale: the common one of several ladders under each other.
    """
    size = SMALL if small else LARGE
    chances = [chance for chance in chances if chance.on_ladder]
    offset = _first_place(chances) - scale.first if scale and chances else 0
    steps = tuple(_step(chance, offset + index, size) for index, chance in enumerate(chances))
    count = scale.count if scale else len(steps)
    width = count * (size.step + size.gap) - size.gap + 2 if count else 2
    limit = -math.inf if clean_to is None else exact_av(clean_to) + 1e-6
    clean = [index for index, chance in enumerate(chances) if exact_av(chance.f_number) <= limit]
    last_clean = clean[-1] if clean else None
    bracket = None if last_clean is None else (steps[0].x, round(steps[last_clean].x + size.step, 2))
    labels = _few_labels(steps, size.step, last_clean) if small else _all_labels(steps)
    return Ladder(size, steps, round(width, 2), size.head + size.height + size.foot, bracket, labels, small)


def _all_labels(steps: Sequence[Step]) -> tuple[Label, ...]:
    return tuple(Label(step.middle, step.mark, "stop") for step in steps)


def _few_labels(steps: Sequence[Step], step_width: float, last_clean: int | None) -> tuple[Label, ...]:
    """The ends and the last clean stop, as far as they don't run into each other."""
    if not steps:
        return ()
    end = len(steps) - 1
    left, right = steps[0].x, round(steps[end].x + step_width, 2)
    labels = []
    if last_clean is None or last_clean > LABEL_CLEARANCE - 1:
        labels.append(Label(left, steps[0].mark, "first"))
    if last_clean is not None:
        at = {0: left, end: right}.get(last_clean, steps[last_clean].middle)
        anchor = {0: "limit first", end: "limit last"}.get(last_clean, "limit")
        labels.append(Label(at, steps[last_clean].mark, anchor))
    if end > 0 and (last_clean is None or last_clean < end - LABEL_CLEARANCE + 1):
        labels.append(Label(right, steps[end].mark, "last"))
    return tuple(labels)
