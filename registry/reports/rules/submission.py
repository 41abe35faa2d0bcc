"""Whether a report says enough, and nothing impossible, to count."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from django.utils import timezone

from registry.errors import CleanstopError, Problem
from registry.reports.models import Basis, FilterPosition, ImagePurpose, ImageState, Report, SampleImage
from registry.reports.rules.light import VISIBLE
from registry.reports.rules.stops import check_not_wider, sweep_focal_length


def check_submission(report: Report) -> list[Problem]:
    """Everything that keeps a report from counting, as its author would have to mend it."""
    return [*_evidence(report), *check_details(report), *_frames(report), *_stops(report)]


def check_details(report: Report) -> list[Problem]:
    """What its details alone keep from counting; the report needs no row in the database for this."""
    return [*_light(report), *_relay(report), *_day(report)]


def check_without_frames(report: Report, *, says_something: bool) -> list[Problem]:
    """Everything that keeps a report without pictures from counting; its stops were checked as they were read, and it
    needs no row in the database. says_something: whether it holds a reading or a claim."""
    missing = []
    if report.basis == Basis.MEASURED:
        missing = [_nothing_measured(frames=0, graded=False)]
    elif not says_something:
        missing = [_nothing_said()]
    return [*missing, *check_details(report)]


def _evidence(report: Report) -> Iterator[Problem]:
    measured = report.images.filter(readings__excess_ev__isnull=False).exists()
    if report.basis == Basis.MEASURED and not measured:
        graded = report.images.filter(readings__grade__isnull=False).exists()
        yield _nothing_measured(frames=report.images.count(), graded=graded)
    elif not report.sweeps.filter(readings__isnull=False).exists() and not report.claims.exists():
        yield _nothing_said()


def _nothing_measured(*, frames: int, graded: bool) -> Problem:
    return Problem(
        code="nothing-measured",
        field="images",
        value=frames,
        says="This report is to be measured, and no frame of it has been measured.",
        remedy="Change its basis to graded by eye."
        if graded
        else "Add frames of a plain, evenly lit target, or change its basis to graded by eye.",
    )


def _nothing_said() -> Problem:
    return Problem(
        code="nothing-said",
        field="sweeps",
        value=None,
        says="This report holds no reading and no claim.",
        remedy="Grade at least one stop, or say how far the lens stays clean.",
    )


def _light(report: Report) -> Iterator[Problem]:
    if report.light_group == VISIBLE:
        yield Problem(
            code="not-infrared",
            field="filter",
            value=str(report.rig),
            says="An unconverted body without an infrared filter photographs visible light.",
            remedy="Choose the filter that was used, or the converted camera.",
        )
    if report.basis == Basis.RELAYED:
        return
    if report.cut_on_nm is None and not report.light_group:
        yield Problem(
            code="light-unknown",
            field="rig",
            value=None,
            says="Nothing says which light reached the sensor.",
            remedy="Choose your camera with its conversion, and the filter on it.",
        )
    if report.filter is not None and not report.filter_position:
        positions = ", ".join(FilterPosition.values)
        yield Problem(
            code="filter-position-missing",
            field="filter_position",
            value="",
            says=f"Where {report.filter} sat is missing.",
            remedy=f"Use one of: {positions}.",
        )


def _relay(report: Report) -> Iterator[Problem]:
    if report.basis != Basis.RELAYED:
        return
    for name, what, remedy in (
        (
            "citation_title",
            "The title of the source",
            "Name the article, post or book that published the result.",
        ),
        ("tester_name", "The tester's name", "Name the person or publication that did the test."),
    ):
        if not getattr(report, name):
            yield Problem(code="missing", field=name, value="", says=f"{what} is missing.", remedy=remedy)


def _day(report: Report) -> Iterator[Problem]:
    if report.shot_on and report.shot_on > timezone.now().date() + timedelta(days=1):
        yield Problem(
            code="date-in-the-future",
            field="shot_on",
            value=str(report.shot_on),
            says=f"Day of the test “{report.shot_on}” is in the future.",
            remedy="Give the day on which it happened.",
        )


def _frames(report: Report) -> Iterator[Problem]:
    """Frames that show something at a stop or focal length nobody has named, or that the lens hasn't."""
    useful = (ImageState.MEASURED, ImageState.UNCERTAIN)
    for index, image in enumerate(report.images.all()):
        if image.purpose != ImagePurpose.TARGET or (image.state not in useful and image.grade is None):
            continue
        yield from _missing_facts(report, image, index)
        if image.f_number is not None:
            try:
                check_not_wider(
                    report.lens, image.focal_length_mm, image.f_number, f"images[{index}].f_number"
                )
            except CleanstopError as error:
                yield error.first


def _missing_facts(report: Report, image: SampleImage, index: int) -> Iterator[Problem]:
    if image.f_number is None:
        yield Problem(
            code="missing",
            field=f"images[{index}].f_number",
            value=None,
            says=f"The f-number of frame “{image.file_name}” is missing.",
            remedy="Type it as marked on the lens, or remove the frame.",
        )
    if sweep_focal_length(report.lens, image.focal_length_mm) is None:
        yield Problem(
            code="missing",
            field=f"images[{index}].focal_length_mm",
            value=None,
            says=f"The focal length of frame “{image.file_name}” is missing.",
            remedy="Type it in mm as read off the lens, or remove the frame.",
        )


def _stops(report: Report) -> Iterator[Problem]:
    """Typed stops that the lens, perhaps corrected since, does not have."""
    for index, sweep in enumerate(report.sweeps.prefetch_related("readings")):
        typed = [reading for reading in sweep.readings.all() if reading.image_id is None]
        for place, reading in enumerate(typed):
            field = f"sweeps[{index}].readings[{place}].f_number"
            yield from _too_wide(report, sweep.focal_length_mm, reading.f_number, field)
    for index, claim in enumerate(report.claims.all()):
        if claim.f_number is not None:
            yield from _too_wide(report, claim.focal_length_mm, claim.f_number, f"claims[{index}].f_number")


def _too_wide(
    report: Report, focal_length_mm: float | None, f_number: float, field: str
) -> Iterator[Problem]:
    try:
        check_not_wider(report.lens, focal_length_mm, f_number, field)
    except CleanstopError as error:
        yield error.first
