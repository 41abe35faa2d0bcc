"""What happens to frames after they have arrived. Every task can run again without harm."""

from __future__ import annotations

import math
import tempfile

from registry.errors import CleanstopError, Unreadable
from registry.frames.decode import read_kept
from registry.frames.intake import take_in
from registry.ledger.retries import retried_task
from registry.optics.linear_image import LinearImage
from registry.photometry.frame import measure_frame as measure_one
from registry.photometry.measurement import Measurement
from registry.photometry.sweep import SweepFrame
from registry.photometry.sweep import measure_sweep as measure_together
from registry.reports import services, storage
from registry.reports.models import ImageState, Report, SampleImage
from registry.reports.rules.geometry import half_diagonal_mm
from registry.reports.rules.sweeps import Group, groups_of
from registry.reports.services.measuring import unmeasurable
from registry.reports.services.upkeep import sweep_stale_originals


class DecoderBusy(Exception):
    """Too many frames are being read at once; the task queue's delay is the remedy."""


def give_up_frame(image_id: int) -> None:
    """Let the contributor go on when a frame could not be measured through no fault of theirs."""
    image = SampleImage.objects.filter(pk=image_id).first()
    if image is not None and image.state in (ImageState.ARRIVED, ImageState.TAKEN_IN):
        services.record_unreadable(image=image, error=Unreadable(unmeasurable(image)))


def give_up_group(report_id: int, focal_length_mm: float) -> None:
    """Let a report go on with its single frames when their sweep could not be measured."""
    if report := Report.objects.filter(pk=report_id).first():
        services.give_up_sweep(report=report, focal_length_mm=focal_length_mm)


@retried_task(attempts=3, give_up=give_up_frame)
def measure_frame(image_id: int) -> None:
    """Sanitise an arrived frame, keep what may be kept, and measure it."""
    image = SampleImage.objects.filter(pk=image_id).first()
    if image is None:
        return
    light = _take_in(image) if image.original else None
    if image.state != ImageState.TAKEN_IN:
        return
    light = light if light is not None else light_of(image)
    services.record_measurement(image=image, measurement=measure(image, light))


@retried_task(attempts=3, give_up=give_up_group)
def measure_sweep(report_id: int, focal_length_mm: float) -> None:
    """Measure the frames of one focal length together, if that still has to be done."""
    report = Report.objects.filter(pk=report_id).select_related("lens", "body").first()
    if report is None or focal_length_mm not in report.sweeps_due:
        return
    group = next((one for one in groups_of(report) if one.focal_length_mm == focal_length_mm), None)
    if group is None or not group.is_sweep:
        services.give_up_sweep(report=report, focal_length_mm=focal_length_mm)
        return
    services.record_sweep(report=report, group=group, measurements=measure_group(report, group))


def measure(image: SampleImage, light: LinearImage) -> Measurement:
    """One frame's measurement by itself."""
    return measure_one(
        light,
        f_number=image.f_number,
        focal_length_mm=image.focal_length_mm,
        half_diagonal_mm=half_diagonal_mm(image.report and image.report.body, image.exif),
    )


def measure_group(report: Report, group: Group) -> list[Measurement]:
    """The measurements of a group's frames as a sweep, in the group's order."""
    frames = [_sweep_frame(report, image, group.focal_length_mm) for image in group.frames]
    controls = [_sweep_frame(report, image, group.focal_length_mm) for image in group.controls]
    return measure_together(frames, control=controls)


def light_of(image: SampleImage) -> LinearImage:
    """A frame's light from what was kept of it."""
    with storage.private_path(image.kept) as path:
        return read_kept(path)


def _take_in(image: SampleImage) -> LinearImage | None:
    """Sanitise the original and record what it yields; None when it could not be read."""
    with (
        storage.private_path(image.original) as path,
        tempfile.TemporaryDirectory(prefix="intake-") as folder,
    ):
        try:
            taken = take_in(path, limits=storage.frame_limits(), working_directory=folder)
        except CleanstopError as error:
            if error.first.code == "decoder-busy":
                raise DecoderBusy(str(error)) from error
            services.record_unreadable(image=image, error=error)
            return None
        services.record_intake(image=image, taken=taken)
        return taken.image


def _sweep_frame(report: Report, image: SampleImage, focal_length_mm: float) -> SweepFrame:
    return SweepFrame(
        image=light_of(image),
        f_number=image.f_number,
        focal_length_mm=focal_length_mm,
        half_diagonal_mm=half_diagonal_mm(report.body, image.exif),
        exposure_ev=_exposure_ev(image),
    )


def _exposure_ev(image: SampleImage) -> float | None:
    """How much light the settings let in, in EV over 1 s at ISO 100, aside from the aperture."""
    seconds, iso = image.exif.get("exposure_seconds"), image.exif.get("iso")
    return math.log2(seconds * iso / 100) if seconds and iso else None


@retried_task()
def finish_stale_frames() -> None:
    """Recurring: no original outlives the time it takes to sanitise it."""
    sweep_stale_originals()
