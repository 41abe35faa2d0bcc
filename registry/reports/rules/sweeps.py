"""Which frames of a report form a sweep, and whether that sweep has been measured as it now stands."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from registry.reports.models import ImagePurpose, ImageState, Measurement, Report, SampleImage
from registry.reports.rules.stops import distinct_stops, sweep_focal_length

STOPS_OF_A_SWEEP = 4  # fewer say too little about what is common to all frames
WAITING = (ImageState.ARRIVED, ImageState.TAKEN_IN)
JUDGED_BY_SOFTWARE = (ImageState.MEASURED, ImageState.UNCERTAIN)


@dataclass(frozen=True)
class Group:
    """The frames of a report at one focal length, by f-number.

    frames: judged target frames with a known stop. controls: judged frames of the control at that focal length.
    newest: each frame's measurement that counts, by image id. signature: what a sweep over them depends on.
    """

    focal_length_mm: float
    frames: list[SampleImage]
    controls: list[SampleImage]
    newest: dict[int, Measurement]

    @property
    def is_sweep(self) -> bool:
        """Whether measuring the frames together tells more: enough stops, or a control to compare with."""
        return distinct_stops(frame.f_number for frame in self.frames) >= STOPS_OF_A_SWEEP or bool(
            self.controls
        )

    @property
    def signature(self) -> list[list]:
        members = [[frame.public_id, frame.f_number] for frame in self.frames]
        return members + [[control.public_id, control.f_number, "control"] for control in self.controls]

    @property
    def is_fresh(self) -> bool:
        """Whether every frame's newest measurement comes from a sweep over exactly these frames."""
        return all(
            measurement.from_sweep and measurement.result.get("sweep") == self.signature
            for measurement in self.newest.values()
        )


def pending_images(report: Report) -> QuerySet[SampleImage]:
    return report.images.filter(state__in=WAITING)


def is_settled(report: Report) -> bool:
    """Whether every frame is through and every sweep measured."""
    return not report.sweeps_due and not pending_images(report).exists()


def groups_of(report: Report) -> list[Group]:
    """The report's judged frames by focal length, shortest first; those without a stop or focal length are left out."""
    targets: dict[float, list[SampleImage]] = {}
    controls: dict[float, list[SampleImage]] = {}
    for image in report.images.filter(state__in=JUDGED_BY_SOFTWARE).prefetch_related("measurements"):
        focal = sweep_focal_length(report.lens, image.focal_length_mm)
        if focal is None or image.f_number is None or image.purpose == ImagePurpose.PROOF:
            continue
        side = controls if image.purpose == ImagePurpose.CONTROL else targets
        side.setdefault(focal, []).append(image)
    return [
        Group(focal, frames, by_stop(controls.get(focal, [])), _newest(frames))
        for focal, frames in sorted((focal, by_stop(frames)) for focal, frames in targets.items())
    ]


def by_stop(images: list[SampleImage]) -> list[SampleImage]:
    return sorted(images, key=lambda image: (image.f_number, image.pk))


def counting_measurement(image: SampleImage, *, in_sweep: bool) -> Measurement | None:
    """The measurement of a frame that counts: the newest, and a sweep's only while the frame is in that sweep."""
    rows = [row for row in image.measurements.all() if in_sweep or not row.from_sweep]
    return max(rows, key=lambda row: row.pk, default=None)


def _newest(frames: list[SampleImage]) -> dict[int, Measurement]:
    rows = {frame.pk: counting_measurement(frame, in_sweep=True) for frame in frames}
    return {key: row for key, row in rows.items() if row is not None}
