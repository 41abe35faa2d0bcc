"""The shot list: what to photograph, in which order, and how long it takes."""

from __future__ import annotations

from dataclasses import dataclass

from registry.shotlists.advice import ADVICE, Advice, control_in_visible_light, notes_on
from registry.shotlists.facts import CameraFacts, LensFacts
from registry.shotlists.setups import SetUp, Stop, set_ups

# How long things take, in minutes (our estimates, no source).
PREPARING, SETTING_UP, A_FRAME, CHANGING_FILTERS, PROOF = 10.0, 3.0, 0.5, 4.0, 5.0


@dataclass(frozen=True)
class Control:
    """Frames of the same target in visible light, which show what the lens does without infrared.

    possible: whether this camera can take them. says: how, or why not. focal_lengths_mm: one frame at each, as
    engraved; none where it is not possible.
    """

    possible: bool
    says: str
    focal_lengths_mm: tuple[float, ...] = ()


@dataclass(frozen=True)
class ShotList:
    """One evening's frames for a lens, a camera and a filter.

    set_ups: shortest focal length first. working_f_number: for the control, and for the picture of a real scene.
    notes: what this lens or camera asks of the photographer. advice: what holds for every test.
    """

    lens: LensFacts
    camera: CameraFacts
    set_ups: tuple[SetUp, ...]
    control: Control
    working_f_number: float
    notes: tuple[str, ...]
    advice: tuple[Advice, ...]

    @property
    def target_frames(self) -> int:
        return sum(set_up.frames for set_up in self.set_ups)

    @property
    def frames(self) -> int:
        """All frames: of the target, of the control, and the proof picture."""
        return self.target_frames + len(self.control.focal_lengths_mm) + 1

    @property
    def minutes(self) -> int:
        """About how long the evening takes, to the next five minutes."""
        control = CHANGING_FILTERS if self.control.possible else 0
        taken = PREPARING + SETTING_UP * len(self.set_ups) + A_FRAME * self.frames + control + PROOF
        return 5 * -int(-taken // 5)


def shot_list_for(lens: LensFacts, camera: CameraFacts | None = None) -> ShotList:
    """The shot list of a lens on a camera; without a camera, what holds for any."""
    camera = camera or CameraFacts()
    places = set_ups(lens)
    return ShotList(
        lens,
        camera,
        places,
        _control(camera, places),
        _working_aperture(places[-1].stops),
        notes_on(lens, camera, places),
        ADVICE,
    )


def _working_aperture(stops: tuple[Stop, ...]) -> float:
    """Where most landscapes are taken: the stop nearest to f/8 (common practice, no source)."""
    return min((stop.f_number for stop in stops), key=lambda f_number: abs(f_number - 8))


def _control(camera: CameraFacts, places: tuple[SetUp, ...]) -> Control:
    possible, says = control_in_visible_light(camera)
    return Control(possible, says, tuple(place.focal_length_mm for place in places) if possible else ())
