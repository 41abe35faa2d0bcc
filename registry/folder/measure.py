"""Measuring a folder of frames on one's own machine: the numbers that the registry would find, without it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from registry.errors import CleanstopError
from registry.folder.contents import CONTROL, PROOF, FrameFile, frames_in
from registry.frames.exif import KeptExif
from registry.frames.local import read_local
from registry.optics.field_of_view import half_diagonal_from
from registry.optics.linear_image import LinearImage
from registry.optics.stops import exact_av
from registry.photometry.frame import measure_frame
from registry.photometry.measurement import REJECTED, Measurement
from registry.photometry.sweep import SweepFrame, measure_sweep

STOPS_OF_A_SWEEP = 4  # fewer say too little about what is common to all frames
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class ReadFrame:
    """A frame that could be read, or why not."""

    file: FrameFile
    image: LinearImage | None
    exif: KeptExif
    problem: str | None = None

    @property
    def focal_length_mm(self) -> float | None:
        """The focal length under which it is grouped, to a tenth of a millimetre."""
        return None if self.exif.focal_length_mm is None else round(self.exif.focal_length_mm, 1)

    @property
    def half_diagonal_mm(self) -> float | None:
        return half_diagonal_from(self.exif.focal_length_mm, self.exif.focal_length_35mm)


@dataclass(frozen=True)
class FrameResult:
    """What was found in a frame. sweep: name of the sweep that it was measured in, None if it was measured alone."""

    frame: ReadFrame
    measurement: Measurement | None
    sweep: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """The stable exchange form: positions in half-diagonals, a 95 % interval; a rejected frame has no numbers."""
        found = self.measurement
        return {
            "status": REJECTED if found is None else found.status,
            "reason": self.reason,
            "ev": found and found.ev,
            "ev_lo": found and found.ev_low,
            "ev_hi": found and found.ev_high,
            "radius": found and found.radius,
            "centre": list(found.centre) if found is not None and found.centre else None,
            "tint_rg": found and found.tint_rg,
            "tint_bg": found and found.tint_bg,
            "f_number": self.frame.exif.f_number,
            "focal_length_mm": self.frame.exif.focal_length_mm,
            "sweep": self.sweep,
        }

    @property
    def reason(self) -> str | None:
        """Why a frame was rejected, or what is to be known about its result."""
        if self.measurement is None:
            return self.frame.problem
        if self.measurement.refusal is not None:
            return self.measurement.refusal.says
        return " ".join(self.measurement.notes) or None


def measure_folder(
    path: str | Path, *, sweeps: bool = True, progress: Progress | None = None
) -> dict[str, Any]:
    """Measure every frame of a folder: {"frames": {key: FrameResult.to_dict()}}.

    Subfolders are separate set-ups; within one, the frames of one focal length form a sweep and are measured
    together where they show at least four stops. sweeps: False measures every frame alone. progress: called with
    the number of frames read, of all, and the name of the last one.
    Raises InvalidInput for a missing folder or one without frames; an unreadable file is rejected with the reason.
    """
    results = measured_frames(path, sweeps=sweeps, progress=progress)
    return {"frames": {result.frame.file.key: result.to_dict() for result in results}}


def measured_frames(
    path: str | Path,
    *,
    sweeps: bool = True,
    progress: Progress | None = None,
    purposes: Mapping[str, str] | None = None,
) -> Iterable[FrameResult]:
    """The results of a folder's frames, one set-up after the other; proof pictures are not measured.

    purposes: as frames_in takes them; controls are compared with the frames of their focal length.
    Raises as measure_folder does.
    """
    files = [file for file in frames_in(path, purposes) if file.purpose != PROOF]
    done = 0
    for _, group in groupby(sorted(files, key=lambda file: file.set_up), key=lambda file: file.set_up):
        frames = []
        for file in group:
            frames.append(read_frame(file))
            done += 1
            if progress is not None:
                progress(done, len(files), file.path.name)
        yield from _measure_set_up(frames, sweeps=sweeps)


def read_frame(file: FrameFile) -> ReadFrame:
    """Read one file; an unreadable one comes back with the problem."""
    try:
        image, exif = read_local(file.path)
    except CleanstopError as error:
        return ReadFrame(file, None, KeptExif(), str(error.first))
    except OSError as error:
        return ReadFrame(file, None, KeptExif(), f"The file could not be opened: {error.strerror}.")
    return ReadFrame(file, image, exif)


def _measure_set_up(frames: list[ReadFrame], *, sweeps: bool) -> list[FrameResult]:
    results = {frame.file.key: FrameResult(frame, _alone(frame)) for frame in frames}
    if sweeps:
        for name, members, controls in _sweeps(frames, results):
            found = measure_sweep(
                [_shot(frame) for frame in members], control=[_shot(one) for one in controls]
            )
            for frame, measurement in zip(members, found, strict=True):
                results[frame.file.key] = FrameResult(frame, measurement, name)
    return list(results.values())


def _sweeps(
    frames: list[ReadFrame], results: dict[str, FrameResult]
) -> list[tuple[str, list[ReadFrame], list[ReadFrame]]]:
    """Name, frames, widest first, and controls of the groups of one focal length with enough stops or a control.

    A frame that is rejected alone stays out, so that it can't spoil the others.
    """
    groups: dict[float | None, list[ReadFrame]] = {}
    controls: dict[float | None, list[ReadFrame]] = {}
    for frame in frames:
        found = results[frame.file.key].measurement
        if frame.exif.f_number is not None and found is not None and found.status != REJECTED:
            side = controls if frame.file.purpose == CONTROL else groups
            side.setdefault(frame.focal_length_mm, []).append(frame)
    named = []
    for focal_length_mm, members in groups.items():
        beside = sorted(controls.get(focal_length_mm, []), key=_by_stop)
        stops = {round(exact_av(frame.exif.f_number), 6) for frame in members}
        if len(stops) >= STOPS_OF_A_SWEEP or beside:
            at = "unknown focal length" if focal_length_mm is None else f"{focal_length_mm:g} mm"
            set_up = members[0].file.set_up
            named.append((f"{set_up}, {at}" if set_up else at, sorted(members, key=_by_stop), beside))
    return named


def _by_stop(frame: ReadFrame) -> tuple[float, str]:
    return frame.exif.f_number, frame.file.key


def _alone(frame: ReadFrame) -> Measurement | None:
    if frame.image is None:
        return None
    return measure_frame(
        frame.image,
        f_number=frame.exif.f_number,
        focal_length_mm=frame.exif.focal_length_mm,
        half_diagonal_mm=frame.half_diagonal_mm,
    )


def _shot(frame: ReadFrame) -> SweepFrame:
    seconds, iso = frame.exif.exposure_seconds, frame.exif.iso
    return SweepFrame(
        image=frame.image,
        f_number=frame.exif.f_number,
        focal_length_mm=frame.exif.focal_length_mm,
        half_diagonal_mm=frame.half_diagonal_mm,
        exposure_ev=math.log2(seconds * iso / 100) if seconds and iso else None,
    )
