"""What a report says, whole: for keeping it before an edit, and in the form in which it can be filed again."""

from __future__ import annotations

from typing import Any

from registry.accounts.models import Account
from registry.reports.models import OwnSummary, Report, ReportRevision, SampleImage
from registry.reports.rules.sweeps import counting_measurement

_PLAIN = (
    "basis", "filter_position", "cut_on_nm", "light_group", "accessories", "target", "light", "place", "notes",
    "licence", "citation_url", "citation_title", "citation_author", "citation_archive_url", "tester_name",
)  # fmt: skip
_GEAR = ("lens", "teleconverter", "adapter", "body", "filter")


def content_of(report: Report) -> dict[str, Any]:
    """Everything a report says, as JSON holds it: details, sweeps, claims, findings, and each picture's numbers."""
    content: dict[str, Any] = {name: getattr(report, name) for name in _PLAIN}
    content |= {name: (item := getattr(report, name)) and item.slug for name in _GEAR}
    content |= {name: (item := getattr(report, name)) and item.public_id for name in ("rig", "copy")}
    content |= {
        name: (day := getattr(report, name)) and day.isoformat() for name in ("shot_on", "citation_date")
    }
    content["sweeps"] = [
        {
            "focal_length_mm": sweep.focal_length_mm,
            "focus_distance_m": sweep.focus_distance_m,
            "repeatability_ev": sweep.repeatability_ev,
            "readings": [_reading(reading) for reading in sweep.readings.select_related("image")],
        }
        for sweep in report.sweeps.all()
    ]
    content["claims"] = list(report.claims.values("says", "f_number", "focal_length_mm"))
    content["own_summary"] = _own_summary(report)
    content["findings"] = list(report.findings.values("kind", "grade", "note"))
    images = report.images.prefetch_related("measurements")
    content["images"] = [_image(image) for image in images]
    return content


def keep_revision(
    report: Report, *, by: Account | None, reason: str, content: dict[str, Any] | None = None
) -> ReportRevision:
    """Keep what a held report says now, or said as content tells, under its current number.

    by: None when the registry itself acts.
    """
    return ReportRevision.objects.create(
        report=report, number=report.revision, reason=reason, by=by, content=content or content_of(report)
    )


def _own_summary(report: Report) -> dict[str, Any] | None:
    return OwnSummary.objects.filter(report=report).values("says", "f_number", "stands", "answer").first()


def _reading(reading) -> dict[str, Any]:
    names = ("f_number", "excess_ev", "excess_se", "radius", "tint_rg", "tint_bg", "grade", "method_version")
    image = reading.image and reading.image.public_id
    return {name: getattr(reading, name) for name in names} | {"image": image}


def _image(image: SampleImage) -> dict[str, Any]:
    row = counting_measurement(image, in_sweep=True)
    names = ("f_number", "focal_length_mm", "grade", "purpose", "state", "content_hash")
    return {name: getattr(image, name) for name in names} | {
        "image": image.public_id,
        "measurement": row and row.pk,
    }
