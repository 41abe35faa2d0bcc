"""All frames of one set-up and focal length, measured together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.optics.linear_image import LinearImage
from registry.photometry.frame import measure_frame
from registry.photometry.measurement import Measurement


@dataclass(frozen=True, eq=False)
class SweepFrame:
    """One frame of a sweep. exposure_ev: exposure in EV as the camera recorded it (more is brighter), if known."""

    image: LinearImage
    f_number: float | None
    focal_length_mm: float | None
    half_diagonal_mm: float | None = None
    exposure_ev: float | None = None


def measure_sweep(frames: Sequence[SweepFrame], *, control: Sequence[SweepFrame] = ()) -> list[Measurement]:
    """Measure frames of one set-up that differ in aperture; results in the order given."""
    return [
        measure_frame(
            frame.image,
            f_number=frame.f_number,
            focal_length_mm=frame.focal_length_mm,
            half_diagonal_mm=frame.half_diagonal_mm,
        )
        for frame in frames
    ]
