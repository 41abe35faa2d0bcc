"""A report's readings as they follow from its frames."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

from registry.optics import stops
from registry.photometry.measurement import MEASURED
from registry.photometry.measurement import Measurement as Photometric
from registry.photometry.repeats import repeatability
from registry.reports.models import (
    ImagePurpose,
    ImageState,
    Measurement,
    Reading,
    Report,
    SampleImage,
    Sweep,
)
from registry.reports.rules.stops import sweep_focal_length
from registry.reports.rules.sweeps import by_stop, counting_measurement, groups_of

SMALLEST_SE_EV = 0.001  # no frame is known better than that


def rebuild_readings(report: Report) -> bool:
    """Replace the readings that come from frames by what the frames' counting measurements say.

    Readings typed by hand stay. Returns whether any reading changed.
    """
    wanted = _wanted(report)
    before = _facts(Reading.objects.filter(sweep__report=report, image__isnull=False))
    after = sorted((focal, *_key(values)) for focal, rows in wanted.items() for values in rows)
    if before != after:
        Reading.objects.filter(sweep__report=report, image__isnull=False).delete()
        for focal, rows in wanted.items():
            sweep, _ = Sweep.objects.get_or_create(report=report, focal_length_mm=focal)
            Reading.objects.bulk_create(Reading(sweep=sweep, **values) for values in rows)
            sweep.repeatability_ev = _repeatability(rows)
            sweep.save(update_fields=["repeatability_ev"])
    report.sweeps.filter(readings=None).delete()
    return before != after


def _wanted(report: Report) -> dict[float, list[dict[str, Any]]]:
    """Field values of the readings that the frames give, by focal length."""
    swept = {group.focal_length_mm for group in groups_of(report) if group.is_sweep}
    wanted: dict[float, list[dict[str, Any]]] = {}
    images = report.images.filter(purpose=ImagePurpose.TARGET).prefetch_related("measurements")
    for image in by_stop([image for image in images if image.f_number is not None]):
        focal = sweep_focal_length(report.lens, image.focal_length_mm)
        values = _reading_of(image, in_sweep=focal in swept)
        if focal is not None and values is not None:
            wanted.setdefault(focal, []).append(values)
    return wanted


def _reading_of(image: SampleImage, *, in_sweep: bool) -> dict[str, Any] | None:
    """One frame's reading: measured, or graded by eye, or none."""
    common = {
        "image": image,
        "f_number": image.f_number,
        "av": stops.exact_av(image.f_number),
        "grade": image.grade,
    }
    if image.state in (ImageState.MEASURED, ImageState.UNCERTAIN):
        row = counting_measurement(image, in_sweep=in_sweep)
        if row is not None and row.result.get("ev") is not None:
            return common | _measured(row)
    return common if image.grade is not None else None


def _measured(row: Measurement) -> dict[str, Any]:
    result = row.result
    return {
        "excess_ev": result["ev"],
        "excess_se": max(result["ev_se"], SMALLEST_SE_EV),
        "radius": result.get("radius"),
        "tint_rg": result.get("tint_rg"),
        "tint_bg": result.get("tint_bg"),
        "method_version": row.method_version,
    }


_COMPARED = ("f_number", "excess_ev", "excess_se", "radius", "tint_rg", "tint_bg", "grade")


def _key(values: dict[str, Any]) -> tuple:
    return (
        values["image"].pk,
        values.get("method_version", ""),
        repr([values.get(name) for name in _COMPARED]),
    )


def _facts(readings: QuerySet[Reading]) -> list[tuple]:
    return sorted(
        (
            reading.sweep.focal_length_mm,
            reading.image_id,
            reading.method_version,
            repr([getattr(reading, name) for name in _COMPARED]),
        )
        for reading in readings.select_related("sweep")
    )


def _repeatability(rows: list[dict[str, Any]]) -> float | None:
    """Standard deviation in EV of repeats at one stop, pooled over the stops; None without repeats."""
    stops_shot: dict[float, list[Photometric]] = {}
    for values in rows:
        if values.get("excess_ev") is not None:
            shot = Photometric(MEASURED, ev=values["excess_ev"])
            stops_shot.setdefault(round(values["av"], 6), []).append(shot)
    repeats = [shots for shots in stops_shot.values() if len(shots) > 1]
    return repeatability(repeats) if repeats else None
