"""Measuring every kept frame again under the method's present version; what was found before stays as history."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from registry.optics.linear_image import LinearImage
from registry.photometry.measurement import METHOD_VERSION
from registry.photometry.measurement import Measurement as Photometric
from registry.reports.models import (
    ImagePurpose,
    ImageState,
    Measurement,
    Reading,
    Report,
    ReportState,
    SampleImage,
)
from registry.reports.rules.sweeps import Group, groups_of
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.measuring import append_measurement, tell_remeasured
from registry.reports.services.readings import rebuild_readings
from registry.reports.services.revisions import content_of, keep_revision

JUDGED = (ImageState.MEASURED, ImageState.UNCERTAIN, ImageState.REJECTED)


@dataclass(frozen=True)
class ReadingChange:
    """One reading before and after, in EV; None where there is or was none."""

    f_number: float
    focal_length_mm: float
    image: str
    before_ev: float | None
    after_ev: float | None

    def to_dict(self) -> dict[str, float | None]:
        """Without the frame's name, for the event log."""
        return {name: value for name, value in asdict(self).items() if name != "image"}


@dataclass(frozen=True)
class Remeasured:
    """One report that was measured again. told: whether its followers were, since its evidence changed."""

    report: str
    lens: str
    frames: int
    changes: list[ReadingChange]
    told: bool


@dataclass(frozen=True)
class Measurers:
    """How frames are measured: one alone, and a group together. Given by tasks, which know how to decode."""

    light_of: Callable[[SampleImage], LinearImage]
    measure: Callable[[SampleImage, LinearImage], Photometric]
    measure_group: Callable[[Report, Group], list[Photometric]]


def reports_to_remeasure(*, lens_slug: str = "") -> QuerySet[Report]:
    """Reports with a kept frame that the present method version has not measured yet, oldest first."""
    frames = frames_to_remeasure().filter(report=OuterRef("pk"))
    reports = (
        Report.objects.filter(Exists(frames)).exclude(state=ReportState.WITHDRAWN).select_related("lens")
    )
    if lens_slug:
        reports = reports.filter(lens__slug=lens_slug)
    return reports.order_by("pk")


def frames_to_remeasure() -> QuerySet[SampleImage]:
    """Kept and judged frames without a measurement by the present method version."""
    done = Measurement.objects.filter(image=OuterRef("pk"), method_version=METHOD_VERSION)
    return SampleImage.objects.filter(~Exists(done), ~Q(kept=""), state__in=JUDGED).exclude(
        purpose=ImagePurpose.PROOF
    )


def remeasure(*, measurers: Measurers, lens_slug: str = "") -> Iterator[Remeasured]:
    """Measure again, report by report, each in a transaction of its own: a run that is broken off goes on later
    where it stopped. Frames without a report come last, and are not reported."""
    for pk in list(reports_to_remeasure(lens_slug=lens_slug).values_list("pk", flat=True)):
        yield remeasure_report(
            report=Report.objects.select_related("lens", "body").get(pk=pk), measurers=measurers
        )
    if not lens_slug:
        for image in frames_to_remeasure().filter(report=None):
            with transaction.atomic():
                measured = measurers.measure(image, measurers.light_of(image))
                append_measurement(image, measured, from_sweep=False)


@transaction.atomic
def remeasure_report(*, report: Report, measurers: Measurers) -> Remeasured:
    """Measure one report's frames again, singly and as sweeps, and rebuild its readings.

    What a submitted report said before is kept as a revision, and its followers are told, if a reading changed.
    """
    hold_report(report, states=ReportState.values)
    before = _facts(report)
    images = list(frames_to_remeasure().filter(report=report))
    measured = [(image, measurers.measure(image, measurers.light_of(image))) for image in images]
    content = content_of(report)
    for image, measurement in measured:
        append_measurement(image, measurement, from_sweep=False)
    for group in [group for group in groups_of(report) if group.is_sweep]:
        for image, measurement in zip(group.frames, measurers.measure_group(report, group), strict=True):
            append_measurement(image, measurement, from_sweep=True, sweep=group.signature)
    rebuild_readings(report)
    changes = list(_changes(before, _facts(report)))
    told = bool(changes) and report.state != ReportState.DRAFT
    if told:
        keep_revision(report, by=None, reason=f"measured again by method {METHOD_VERSION}", content=content)
        write_report(report, revision=report.revision + 1)
        tell_remeasured(report, [change.to_dict() for change in changes])
    else:
        write_report(report)
    return Remeasured(report.public_id, report.lens.slug, len(images), changes, told)


def _facts(report: Report) -> dict[tuple[float, float, str], float | None]:
    """Excess by focal length, f-number and frame."""
    readings = Reading.objects.filter(sweep__report=report, image__isnull=False).select_related(
        "sweep", "image"
    )
    return {(r.sweep.focal_length_mm, r.f_number, r.image.public_id): r.excess_ev for r in readings}


def _changes(before: dict, after: dict) -> Iterator[ReadingChange]:
    for key in sorted(before.keys() | after.keys()):
        if before.get(key) != after.get(key) or (key in before) != (key in after):
            focal_length_mm, f_number, image = key
            yield ReadingChange(f_number, focal_length_mm, image, before.get(key), after.get(key))
