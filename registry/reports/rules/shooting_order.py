"""F-numbers by the order of shooting, for lenses that write none into their frames."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from registry.optics.stops import check_f_number, exact_av, mark_of, stops_between
from registry.reports.models import SampleImage
from registry.reports.rules.contents import Tested, read_f_number
from registry.reports.rules.inputs import Input
from registry.shotlists.shot_list import ShotList

STEPS = {"full": 1, "half": 2, "third": 3}
IN_A_ROW, RUN_AFTER_RUN = "in-a-row", "run-after-run"
RUN_FIELDS = ("first", "last", "step", "repeats", "repeated")
MOST_REPEATS = 20


@dataclass(frozen=True)
class Shot:
    """What one frame of a run was taken at; focal_length_mm is None where the run does not say."""

    f_number: float
    focal_length_mm: float | None = None


def in_shooting_order(images: Iterable[SampleImage]) -> list[SampleImage]:
    """Frames as they were shot: by the camera's clock if every frame has a time, then by the number in their names."""
    images = list(images)
    timed = all(image.exif.get("taken_at") for image in images)
    return sorted(
        images,
        key=lambda image: (
            image.exif["taken_at"] if timed else "",
            _with_numbers(image.file_name),
            image.pk,
        ),
    )


def read_run(sent: Mapping[str, Any], tested: Tested, focal_length_mm: float | None = None) -> list[Shot]:
    """The f-numbers of a run of frames, in order.

    sent: first and last f-number as marked (either may be the wider), step ("full", "half", "third"), repeats of each,
    and repeated: each stop "in-a-row", or the whole run "run-after-run". focal_length_mm: of all of them.
    Raises InvalidInput with every problem.
    """
    source = Input(sent)
    source.known(RUN_FIELDS)
    ends = [_end(source, name, tested, focal_length_mm) for name in ("first", "last")]
    step = source.choice("step", STEPS, what="Step") or "full"
    repeats = source.whole("repeats", low=1, high=MOST_REPEATS, what="Repeats") or 1
    repeated = source.choice("repeated", (IN_A_ROW, RUN_AFTER_RUN), what="Order of repeats") or IN_A_ROW
    source.raise_problems()
    wider, narrower = sorted(ends, key=exact_av)
    stops = stops_between(wider, narrower, STEPS[step])
    if wider != ends[0]:
        stops.reverse()
    run = (
        [stop for stop in stops for _ in range(repeats)]
        if repeated == IN_A_ROW
        else [stop for _ in range(repeats) for stop in stops]
    )
    return [Shot(stop, focal_length_mm) for stop in run]


def run_of_list(shot_list: ShotList) -> list[Shot]:
    """The target frames of a shot list, in its order."""
    return [
        Shot(stop.f_number, place.recorded_mm)
        for place in shot_list.set_ups
        for stop in place.stops
        for _ in range(stop.frames)
    ]


def check_fits(run: list[Shot], count: int) -> None:
    """Raise InvalidInput (run-does-not-fit) unless a run has as many shots as there are frames."""
    if len(run) == count:
        return
    source = Input({})
    first, last = mark_of(run[0].f_number), mark_of(run[-1].f_number)
    source.refuse(
        "run-does-not-fit",
        "",
        count,
        f"From {first} to {last} in this way are {len(run)} frames, and {count} are chosen.",
        "Choose the frames of this run only, or change its ends, steps or repeats.",
    )
    source.raise_problems()


def _end(source: Input, name: str, tested: Tested, focal_length_mm: float | None) -> float:
    if source.content.get(name) in (None, ""):
        source.missing(name, f"The {name} f-number of the run", "Give it as marked on the lens, such as 2.8.")
        return 1.0
    number = read_f_number(source, tested, focal_length_mm, name)
    return check_f_number(number, name) if number is not None else 1.0


def _with_numbers(name: str) -> list[tuple[int, str]]:
    """A key under which DSC_10 comes after DSC_9."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name.casefold())]
