"""All frames of one set-up and focal length, measured together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from registry.errors import InvalidInput
from registry.optics.linear_image import LinearImage
from registry.optics.stops import exact_av
from registry.photometry.baseline import rounded, sweep_kinds
from registry.photometry.brackets import BracketFrame, tone_slope
from registry.photometry.falloff import Optics
from registry.photometry.fitting import FrameFit
from registry.photometry.frame import examine, terms_of
from registry.photometry.joint import joint_terms
from registry.photometry.measurement import REJECTED, Measurement, Refusal
from registry.photometry.pooling import pooled, repeat_offset
from registry.photometry.reading import AGAINST_CONTROL, ALONE, measurement_of, with_note_on_breadth

FEWEST_APERTURES = 4
"""With fewer, frames are measured one by one."""


@dataclass(frozen=True, eq=False)
class SweepFrame:
    """One frame of a sweep.

    f_number: as marked; a frame without one is measured by itself. exposure_ev: how much light shutter and
    sensitivity let in, aside from the aperture (more is brighter), if known; frames of one stop that differ in
    it calibrate the tone curve.
    """

    image: LinearImage
    f_number: float | None
    focal_length_mm: float | None
    half_diagonal_mm: float | None = None
    exposure_ev: float | None = None

    @property
    def optics(self) -> Optics:
        return Optics(self.f_number, self.focal_length_mm, self.half_diagonal_mm)


def measure_sweep(frames: Sequence[SweepFrame], *, control: Sequence[SweepFrame] = ()) -> list[Measurement]:
    """Measure frames of one set-up that differ in aperture; results in the order given.

    control: frames of the same set-up without a hotspot (visible light, or a clean lens); each frame is compared
    with the control of the nearest aperture. Rejected frames don't hinder the others. With fewer than
    four apertures, frames are measured one by one.
    """
    frames = calibrated(frames)
    fits = [examine(frame.image, frame.optics, _control_for(frame, control)) for frame in frames]
    doubt = AGAINST_CONTROL if control else ALONE
    singles = [
        Measurement(status=REJECTED, refusal=fit)
        if isinstance(fit, Refusal)
        else with_note_on_breadth(measurement_of(fit, terms_of(fit), frame.image, doubt=doubt))
        for frame, fit in zip(frames, fits, strict=True)
    ]
    usable = [
        index
        for index, frame in enumerate(frames)
        if isinstance(fits[index], FrameFit)
        and frame.f_number is not None
        and fits[index].frame.shape == _commonest_shape(fits)
    ]
    stops = _by_stop(frames, usable)
    if len(stops) < FEWEST_APERTURES:
        return singles
    return _measured_together(frames, fits, singles, stops, with_control=bool(control))


def calibrated(frames: Sequence[SweepFrame]) -> list[SweepFrame]:
    """Replace guesses at the tone curve's slope by what exposure brackets within one stop show, if there are any."""
    known = [frame for frame in frames if frame.f_number is not None and frame.exposure_ev is not None]
    slopes = []
    for stop in {exact_av(frame.f_number) for frame in known}:
        bracket = [
            BracketFrame(frame.image, frame.exposure_ev)
            for frame in known
            if exact_av(frame.f_number) == stop and not frame.image.linear
        ]
        try:
            slopes.append(tone_slope(bracket))
        except InvalidInput:
            continue  # Repeats of one exposure are no bracket, and needn't be.
    if not slopes:
        return list(frames)
    value, se = np.array(slopes).T
    precision = se**-2.0
    slope = float(value @ precision / precision.sum())
    half_width = float(np.sqrt(3 / precision.sum()))
    return [
        frame
        if frame.image.linear
        else replace(frame, image=replace(frame.image, tone_gain=(slope - half_width, slope + half_width)))
        for frame in frames
    ]


def _control_for(frame, control):
    """The control's frame of the nearest aperture."""
    if not control:
        return None
    if frame.f_number is None:
        return control[0].image

    def distance(other):
        return abs(exact_av(other.f_number) - exact_av(frame.f_number)) if other.f_number else np.inf

    return min(control, key=distance).image


def _commonest_shape(fits):
    shapes = [fit.frame.shape for fit in fits if isinstance(fit, FrameFit)]
    return max(sorted(set(shapes)), key=shapes.count)


def _by_stop(frames, usable):
    """Indices of usable frames by exact aperture value, widest first."""
    stops: dict[float, list[int]] = {}
    for index in usable:
        stops.setdefault(exact_av(frames[index].f_number), []).append(index)
    return dict(sorted(stops.items()))


def _measured_together(frames, fits, singles, stops, with_control):
    f_numbers = tuple(float(2 ** (av / 2)) for av in stops)
    # What falloffs and controls leave open is alike at every stop, and other apertures don't settle it.
    doubt = AGAINST_CONTROL if with_control else None
    centre = _common_centre(fits, singles, stops)
    together = [_averaged([fits[index] for index in indices], centre) for indices in stops.values()]
    optics = rounded(frames[next(iter(stops.values()))[0]].optics)
    kinds = sweep_kinds(f_numbers, replace(optics, f_number=None), with_control)
    terms = joint_terms(together, f_numbers, kinds)
    results = list(singles)
    for position, (fit, indices) in enumerate(zip(together, stops.values(), strict=True)):
        for index in indices:
            own = replace(fits[index], found=fit.found)
            joint = measurement_of(own, terms, frames[index].image, frame=position, doubt=doubt)
            if len(indices) > 1:
                joint = repeat_offset(joint, own.field - fit.field, own)
            results[index] = joint
    return pooled(results, singles, stops)


def _averaged(repeats, centre):
    """The mean of one stop's repeats."""
    first = repeats[0]
    field = np.mean([fit.field for fit in repeats], axis=0)
    noise = first.frame.noise / np.sqrt(len(repeats))
    return replace(first, field=field, found=centre, frame=replace(first.frame, noise=noise))


def _common_centre(fits, singles, stops):
    """The place found in the frame that shows the sharpest strong patch."""
    indices = [index for members in stops.values() for index in members]

    def clarity(index):
        found = fits[index].found
        return singles[index].probability_of_patch * found.strength / found.shape.radius

    return fits[max(indices, key=clarity)].found
