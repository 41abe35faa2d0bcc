"""Recording what became of a frame, and keeping a report's readings in step with its frames."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from registry.errors import CleanstopError, Problem
from registry.frames.intake import TakenFrame
from registry.ledger.services import record
from registry.photometry import measurement as photometry
from registry.reports import storage
from registry.reports.models import (
    FrameGrain,
    ImagePurpose,
    ImageState,
    Measurement,
    Report,
    ReportState,
    SampleImage,
)
from registry.reports.rules.sweeps import Group, groups_of, is_settled, pending_images
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.queueing import enqueue
from registry.reports.services.readings import rebuild_readings
from registry.reports.services.submission import enter_when_ready

COULD_NOT_BE_MEASURED = "could-not-be-measured"
_STATES = {
    photometry.MEASURED: ImageState.MEASURED,
    photometry.UNCERTAIN: ImageState.UNCERTAIN,
    photometry.REJECTED: ImageState.REJECTED,
}


@transaction.atomic
def record_intake(*, image: SampleImage, taken: TakenFrame) -> SampleImage:
    """Keep what a sanitised frame yielded, and drop the original once that is committed.

    EXIF's f-number and focal length fill what the contributor has not said already.
    """
    _hold_image(image)
    original = image.original
    if not original:
        return image
    image.kept = storage.keep_private(image.public_id, taken.kept_path)
    image.picture = storage.publish(image.public_id, taken.picture_path, "picture")
    image.thumbnail = storage.publish(image.public_id, taken.thumbnail_path, "thumbnail")
    image.kind, image.width, image.height = taken.kind, taken.width, taken.height
    image.exif = taken.exif.to_dict()
    if image.f_number is None:
        image.f_number = taken.exif.f_number
    if image.focal_length_mm is None:
        image.focal_length_mm = taken.exif.focal_length_mm
    image.state = ImageState.KEPT if image.purpose == ImagePurpose.PROOF else ImageState.TAKEN_IN
    image.original = ""
    image.save()
    if taken.residual:
        FrameGrain.objects.update_or_create(image=image, defaults={"residual": taken.residual})
    transaction.on_commit(lambda: storage.discard(private_names=[original]))
    _settle_its_report(image)
    return image


@transaction.atomic
def record_unreadable(*, image: SampleImage, error: CleanstopError) -> SampleImage:
    """Note why a frame could not be read or measured, beside that frame only, and drop its original."""
    _hold_image(image)
    original, image.original = image.original, ""
    problem = error.first
    image.state = ImageState.UNREADABLE
    image.problem = {name: getattr(problem, name) for name in ("code", "says", "remedy", "field", "value")}
    image.save()
    transaction.on_commit(lambda: storage.discard(private_names=[original]))
    _settle_its_report(image)
    return image


@transaction.atomic
def record_measurement(
    *, image: SampleImage, measurement: photometry.Measurement, from_sweep: bool = False
) -> Measurement:
    """Append one measurement of a frame; the newest one decides the frame's state."""
    _hold_image(image)
    row = append_measurement(image, measurement, from_sweep=from_sweep)
    _settle_its_report(image)
    return row


@transaction.atomic
def record_sweep(
    *, report: Report, group: Group, measurements: Sequence[photometry.Measurement]
) -> list[Measurement]:
    """Append what a sweep says of each of its frames, in the group's order."""
    hold_report(report, states=ReportState.values)
    rows = [
        append_measurement(image, measurement, from_sweep=True, sweep=group.signature)
        for image, measurement in zip(group.frames, measurements, strict=True)
    ]
    report.sweeps_due = [due for due in report.sweeps_due if due != group.focal_length_mm]
    settle(report)
    write_report(report, sweeps_due=report.sweeps_due)
    return rows


@transaction.atomic
def give_up_sweep(*, report: Report, focal_length_mm: float) -> None:
    """Let a report go on with its single frames where their sweep could not be measured."""
    hold_report(report, states=ReportState.values)
    report.sweeps_due = [due for due in report.sweeps_due if due != focal_length_mm]
    write_report(report, sweeps_due=report.sweeps_due)
    if is_settled(report):
        rebuild_readings(report)
        enter_when_ready(report)


def settle(report: Report) -> None:
    """Bring a held report in step with its frames: queue the sweeps that are due, rebuild the readings, and
    submit it if it waits only for that.

    A submitted report keeps its readings until every frame is through, and tells its followers if they changed.
    """
    if pending_images(report).exists():
        return
    newly_due = _stale_focal_lengths(report)
    for focal_length_mm in newly_due:
        if focal_length_mm not in report.sweeps_due:
            report.sweeps_due.append(focal_length_mm)
            enqueue("measure_sweep", report.pk, focal_length_mm)
    if newly_due:
        write_report(report, sweeps_due=report.sweeps_due)
    if report.state == ReportState.DRAFT:
        rebuild_readings(report)
        enter_when_ready(report)
    elif is_settled(report) and rebuild_readings(report):
        tell_remeasured(report)


def tell_remeasured(report: Report, changes: list[dict[str, float | None]] | None = None) -> None:
    """Record that a report's readings changed because its frames were measured again.

    changes: the readings before and after, where a new version of the method changed them.
    """
    data = {"lens": report.lens.slug, "method_version": photometry.METHOD_VERSION}
    if changes is not None:
        data["readings"] = changes
    record("report.remeasured", actor=None, subject_kind="report", subject_id=report.public_id, data=data)


def append_measurement(
    image: SampleImage, measurement: photometry.Measurement, *, from_sweep: bool, sweep: list | None = None
) -> Measurement:
    result = measurement.to_dict() | ({"sweep": sweep} if sweep else {})
    row = Measurement.objects.create(
        image=image,
        method_version=measurement.method_version,
        from_sweep=from_sweep,
        status=measurement.status,
        result=result,
    )
    if image.purpose != ImagePurpose.PROOF:  # it may have become one while it was being measured
        image.state = _STATES[measurement.status]
    image.problem = None
    image.updated_at = timezone.now()
    image.save(update_fields=["state", "problem", "updated_at"])
    return row


def unmeasurable(image: SampleImage) -> Problem:
    """What a contributor is told when measuring itself failed on a frame that could be read."""
    return Problem(
        code=COULD_NOT_BE_MEASURED,
        field="frame",
        value=image.file_name,
        says=f"Measuring “{image.file_name}” failed on our side; this has been logged.",
        remedy="Grade this frame by eye, or send it again later.",
    )


def _hold_image(image: SampleImage) -> None:
    """Lock a frame's row, after its report's as every other service does, and read it afresh."""
    report_id = SampleImage.objects.values_list("report_id", flat=True).get(pk=image.pk)
    if report_id is not None:
        Report.objects.select_for_update(no_key=True).get(pk=report_id)
    image.refresh_from_db(from_queryset=SampleImage.objects.select_for_update(no_key=True))


def _stale_focal_lengths(report: Report) -> list[float]:
    return [group.focal_length_mm for group in groups_of(report) if group.is_sweep and not group.is_fresh]


def _settle_its_report(image: SampleImage) -> None:
    if image.report_id is None:
        return
    report = hold_report(Report.objects.get(pk=image.report_id), states=ReportState.values)
    settle(report)
    write_report(report)
