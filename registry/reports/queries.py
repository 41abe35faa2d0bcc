"""Reading reports: drafts, one report whole, progress of its frames, numbers of an overlay."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

from django.db.models import Prefetch, Q, QuerySet

from registry.accounts.models import Account
from registry.errors import NotFound, Problem
from registry.gear.models import Lens
from registry.photometry.measurement import Measurement as Photometric
from registry.reports.models import (
    AwaitedFrame,
    Basis,
    ImagePurpose,
    ImageState,
    OwnSummary,
    Reading,
    Reply,
    Report,
    ReportRevision,
    ReportState,
    SampleImage,
    Sweep,
)
from registry.reports.rules.newcomers import may_confirm
from registry.reports.rules.replies import may_reply
from registry.reports.rules.sources import one_spelling, source_key, source_of
from registry.reports.rules.stops import distinct_stops
from registry.reports.rules.summary import contradiction_problems
from registry.reports.rules.sweeps import STOPS_OF_A_SWEEP, WAITING, counting_measurement, is_settled

# What anyone may see; a withdrawn report only says that it was there.
PUBLIC_STATES = (ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE, ReportState.WITHDRAWN)
_PARTS = (
    "lens__maker", "teleconverter__maker", "adapter__maker", "copy", "rig__body__maker", "body__maker",
    "filter__maker", "author",
)  # fmt: skip


@dataclass(frozen=True)
class ReportProgress:
    """How far a report's frames are.

    arrived: all frames; waiting: not through yet; measured: judged by the software, uncertain ones included;
    refused: unreadable, or not to be judged and not graded by eye. sweeps_waiting: focal lengths whose sweep is
    still to be measured. images: every frame, in order of arrival. awaited: files announced and still to come;
    turned_away: those that were refused at the door.
    """

    arrived: int
    waiting: int
    measured: int
    refused: int
    sweeps_waiting: tuple[float, ...]
    images: list[SampleImage]
    awaited: list[AwaitedFrame] = field(default_factory=list)
    turned_away: list[AwaitedFrame] = field(default_factory=list)

    @property
    def announced(self) -> int:
        """How many frames there will be once all that was announced is here."""
        return self.arrived + len(self.awaited)

    @property
    def done(self) -> bool:
        return not self.waiting and not self.sweeps_waiting


@dataclass(frozen=True)
class FrameShown:
    """A frame with what was measured in it; shown is None before it is measured."""

    image: SampleImage
    shown: Photometric | None


@dataclass(frozen=True)
class SweepShown:
    """A sweep with its readings by aperture, and whether it has enough stops to be measured as one."""

    sweep: Sweep
    readings: list[Reading]

    @property
    def is_whole(self) -> bool:
        return distinct_stops(reading.f_number for reading in self.readings) >= STOPS_OF_A_SWEEP


@dataclass(frozen=True)
class ReportPage:
    """A report with all that its page shows; everything but the report is empty once it is withdrawn.

    open_questions: for its author, where frames measured anew contradict a summary that stood before.
    """

    report: Report
    sweeps: list[SweepShown] = field(default_factory=list)
    frames: list[FrameShown] = field(default_factory=list)
    claims: list = field(default_factory=list)
    own_summary: OwnSummary | None = None
    open_questions: list[Problem] = field(default_factory=list)
    findings: list = field(default_factory=list)
    revisions: list[ReportRevision] = field(default_factory=list)
    replies: list[Reply] = field(default_factory=list)
    same_source: list[Report] = field(default_factory=list)
    may_edit: bool = False
    may_reply: bool = False
    may_confirm: bool = False


def drafts_of(account: Account) -> QuerySet[Report]:
    """An account's drafts, the one last worked on first."""
    return reports_with_parts().filter(author=account, state=ReportState.DRAFT).order_by("-updated_at")


def reports_of(account: Account) -> QuerySet[Report]:
    """An account's reports that are drafts no more, newest first."""
    return reports_with_parts().filter(author=account).exclude(state=ReportState.DRAFT)


def submitted_reports(*, lens: Lens | None = None) -> QuerySet[Report]:
    """The reports that count, newest first."""
    reports = reports_with_parts().filter(state=ReportState.SUBMITTED)
    return reports if lens is None else reports.filter(lens=lens)


def reports_waiting() -> QuerySet[Report]:
    """Reports of newcomers that wait for a confirmation, the oldest first."""
    return reports_with_parts().filter(state=ReportState.WAITING).order_by("submitted_at", "id")


def reports_on(lens: Lens) -> QuerySet[Report]:
    """The reports on a lens that anyone may read, set aside ones among them, newest first, with their frames."""
    states = (ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE)
    return reports_with_parts().filter(lens=lens, state__in=states).prefetch_related("images")


def visible_reports(viewer: Account | None) -> QuerySet[Report]:
    """What a viewer may see: public reports and their own drafts."""
    mine = Q(author_id=viewer.pk) if viewer is not None and viewer.pk else Q()
    shown = Q(state__in=PUBLIC_STATES)
    return reports_with_parts().filter(shown | mine if mine else shown)


def reports_with_parts() -> QuerySet[Report]:
    """Reports with the gear and people they name, without a statement for each."""
    return Report.objects.select_related(*_PARTS)


def report_for(public_id: str, viewer: Account | None) -> Report:
    """A report that the viewer may see. Raises NotFound for none, and for other people's drafts alike."""
    report = visible_reports(viewer).select_related("own_summary").filter(public_id=public_id).first()
    if report is None:
        raise NotFound(
            Problem(
                code="unknown-report",
                field="report",
                value=public_id,
                says=f"There is no report {public_id}.",
                remedy="Check the address; a draft is shown to its author only.",
            )
        )
    return report


def report_page(public_id: str, viewer: Account | None) -> ReportPage:
    """Everything that a report's page shows. Raises NotFound as report_for does."""
    report = report_for(public_id, viewer)
    mine = viewer is not None and report.author_id == viewer.pk
    if report.state == ReportState.WITHDRAWN and not mine:
        return ReportPage(report)
    return ReportPage(
        report,
        sweeps=sweeps_shown(report),
        frames=[FrameShown(image, overlay_of(image)) for image in frames_of(report)],
        claims=list(report.claims.all()),
        own_summary=getattr(report, "own_summary", None),
        open_questions=contradiction_problems(report) if mine and is_settled(report) else [],
        findings=list(report.findings.all()),
        revisions=list(report.revisions.select_related("by")),
        replies=list(report.replies.select_related("by")),
        same_source=_same_source(report, viewer),
        may_edit=mine and report.state != ReportState.WITHDRAWN,
        may_reply=viewer is not None and may_reply(report, viewer),
        may_confirm=viewer is not None and may_confirm(viewer, report),
    )


def _same_source(report: Report, viewer: Account | None) -> list[Report]:
    """The other relays that are one piece of evidence with this one."""
    if report.basis != Basis.RELAYED:
        return []
    cited = {"address": report.citation_url, "title": report.citation_title}
    others = relays_of_same_source(report.lens, viewer=viewer, but=report, **cited)
    return [other for other in others if other.state == ReportState.SUBMITTED]


def sweeps_shown(report: Report) -> list[SweepShown]:
    readings = Prefetch("readings", queryset=Reading.objects.select_related("image"))
    return [
        SweepShown(sweep, list(sweep.readings.all())) for sweep in report.sweeps.prefetch_related(readings)
    ]


def frames_of(report: Report) -> QuerySet[SampleImage]:
    """A report's pictures in order of arrival, with their measurements."""
    return report.images.prefetch_related("measurements")


def progress(report: Report) -> ReportProgress:
    images = list(frames_of(report))
    states = [image.state for image in images]
    ungraded = [image for image in images if image.state == ImageState.REJECTED and image.grade is None]
    to_come = list(report.awaited.all())
    return ReportProgress(
        arrived=len(images),
        waiting=sum(state in WAITING for state in states),
        measured=sum(state in (ImageState.MEASURED, ImageState.UNCERTAIN) for state in states),
        refused=len(ungraded) + states.count(ImageState.UNREADABLE),
        sweeps_waiting=tuple(report.sweeps_due),
        images=images,
        awaited=[file for file in to_come if file.problem is None],
        turned_away=[file for file in to_come if file.problem is not None],
    )


def overlay_of(image: SampleImage) -> Photometric | None:
    """The counting measurement of a frame, with centre and radius in half-diagonals and its profile.

    A refused frame's carries the refusal and no numbers; None before the first measurement, and for a proof picture.
    """
    if image.purpose == ImagePurpose.PROOF:
        return None
    row = counting_measurement(image, in_sweep=True)
    return row and Photometric.from_dict(row.result)


def image_of(report: Report, public_id: str) -> SampleImage:
    """One picture of a report. Raises NotFound when the report has no such one."""
    return _found(report.images.filter(public_id=public_id).first(), public_id)


def image_for(public_id: str, viewer: Account | None) -> SampleImage:
    """A picture that the viewer may see: their own, or one of a public report. Raises NotFound otherwise."""
    image = SampleImage.objects.select_related("report__lens").filter(public_id=public_id).first()
    if image is not None and not may_see_image(image, viewer):
        image = None
    return _found(image, public_id)


def may_see_image(image: SampleImage, viewer: Account | None) -> bool:
    """Whether a viewer may see a picture: frames of drafts and of withdrawn reports are their owner's only."""
    if viewer is not None and image.owner_id == viewer.pk:
        return True
    shown = (ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE)
    return image.report is not None and image.report.state in shown


def images_of_account(account: Account) -> QuerySet[SampleImage]:
    """All pictures that an account has uploaded, newest first."""
    return SampleImage.objects.filter(owner=account).select_related("report").order_by("-id")


def known_images(
    account: Account, content_hashes: Collection[str], report_id: str = ""
) -> QuerySet[SampleImage]:
    """An account's pictures that are one of these files, by the SHA-256 of their bytes; report_id narrows."""
    known = images_of_account(account).filter(content_hash__in=content_hashes)
    return known.filter(report__public_id=report_id) if report_id else known


def relays_of_same_source(
    lens: Lens, *, address: str, title: str, viewer: Account | None, but: Report | None = None
) -> list[Report]:
    """Other relays on a lens that cite a source of this address or title, as far as the viewer may see them, oldest
    first; withdrawn ones are left out."""
    key, named = source_key(address, title), one_spelling(title)
    others = visible_reports(viewer).filter(lens=lens, basis=Basis.RELAYED)
    others = others.exclude(state=ReportState.WITHDRAWN).exclude(pk=but and but.pk).prefetch_related("claims")
    return [
        other
        for other in others.order_by("pk")
        if (key and source_of(other) == key) or (named and one_spelling(other.citation_title) == named)
    ]


def proof_of(lens: Lens) -> QuerySet[SampleImage]:
    """Pictures of a lens's submitted reports that show a measured frame, newest first."""
    return SampleImage.objects.filter(
        report__lens=lens,
        report__state=ReportState.SUBMITTED,
        purpose=ImagePurpose.TARGET,
        state__in=(ImageState.MEASURED, ImageState.UNCERTAIN),
    ).order_by("-id")


def _found(image: SampleImage | None, public_id: str) -> SampleImage:
    if image is None:
        raise NotFound(
            Problem(
                code="unknown-image",
                field="image",
                value=public_id,
                says=f"There is no picture {public_id}.",
                remedy="Check the address; a draft's frames are shown to its author only.",
            )
        )
    return image
