"""A report's whole content as one nested piece of data: read with every problem at once, then stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry.accounts.models import Account
from registry.gear.models import Lens
from registry.reports.models import Finding, Report
from registry.reports.rules.contents import (
    ImageContent,
    SweepContent,
    Tested,
    read_claims,
    read_findings,
    read_images,
    read_sweeps,
)
from registry.reports.rules.details import DETAIL_FIELDS, read_details
from registry.reports.rules.inputs import Input
from registry.reports.rules.summary import read_own_summary
from registry.reports.services.evidence import store_claim, store_sweep
from registry.reports.services.frames import attach
from registry.reports.services.measuring import settle
from registry.reports.services.summary import store_summary

PART_FIELDS = ("sweeps", "claims", "own_summary", "findings", "images")
# Problems that only a known lens makes: they are not reported while the lens itself is the problem.
_NEED_THE_LENS = {
    "f-number-not-marked",
    "wider-than-the-lens-opens",
    "focal-length-outside-the-lens",
    "focal-length-missing",
}


@dataclass(frozen=True)
class ReportContent:
    """Checked content; what was not sent is None. own_summary: empty where it is taken away."""

    details: dict[str, Any]
    sweeps: list[SweepContent] | None
    claims: list[dict[str, Any]] | None
    own_summary: dict[str, Any] | None
    findings: list[dict[str, Any]] | None
    images: list[ImageContent] | None


def read_contents(data: Mapping[str, Any], author: Account, report: Report | None = None) -> ReportContent:
    """Read and check a report's nested data; report is the one being revised.

    Raises InvalidInput with every problem, each at its dotted path.
    """
    source = Input(data)
    source.known((*DETAIL_FIELDS, *PART_FIELDS))
    details = read_details(source, author, report)
    lens = details.get("lens") or (report and report.lens)
    teleconverter = details.get("teleconverter", report and report.teleconverter)
    tested = Tested(lens or _any_lens(), teleconverter)
    contents = ReportContent(
        details,
        read_sweeps(source, tested) if "sweeps" in source else None,
        read_claims(source, tested) if "claims" in source else None,
        read_own_summary(source, tested) if "own_summary" in source else None,
        read_findings(source) if "findings" in source else None,
        read_images(source, tested, author) if "images" in source else None,
    )
    if lens is None:
        source.problems[:] = [problem for problem in source.problems if problem.code not in _NEED_THE_LENS]
    source.raise_problems()
    return contents


def apply_contents(report: Report, contents: ReportContent) -> None:
    """Store the lists of a held report; each that was sent replaces what was there."""
    if contents.sweeps is not None:
        for sweep in report.sweeps.all():
            sweep.readings.filter(image=None).delete()
        for content in contents.sweeps:
            store_sweep(report, content)
        report.sweeps.filter(readings=None).delete()
    if contents.claims is not None:
        report.claims.all().delete()
        for values in contents.claims:
            store_claim(report, values)
    if contents.findings is not None:
        report.findings.all().delete()
        Finding.objects.bulk_create(Finding(report=report, **values) for values in contents.findings)
    if contents.images is not None:
        _replace_images(report, contents.images)
    if contents.images is not None or report.images.exists():
        settle(report)  # what was typed needs no measuring
    if contents.own_summary is not None:
        store_summary(report, contents.own_summary or None)


def _replace_images(report: Report, contents: list[ImageContent]) -> None:
    named = {content.image.pk for content in contents}
    for image in report.images.exclude(pk__in=named):
        image.readings.all().delete()
        image.report = None
        image.save(update_fields=["report", "updated_at"])
    for content in contents:
        attach(report, content.image, content.changes)


def _any_lens() -> Lens:
    """Stands in for an unknown lens, so that the rest of the data can be checked all the same."""
    return Lens(name="lens", focal_min_mm=1, focal_max_mm=3000, widest_f=0.7, widest_f_tele=0.7)
