"""Closing an account: what it contributed stays, under a pseudonym; what was only its own goes. No verdict changes."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction

from registry.accounts.models import Account
from registry.accounts.services import check_password_of, close_account
from registry.errors import Conflict, InvalidInput, Problem
from registry.reports import storage
from registry.reports.models import (
    FrameGrain,
    ImportedReport,
    Report,
    ReportRevision,
    ReportState,
    SampleImage,
)
from registry.reports.rules.sources import one_spelling
from registry.reports.rules.sweeps import WAITING
from registry.reports.services.drafts import discard_draft
from registry.reports.services.holding import hold_report, write_report

LEAVE, TAKE_DOWN = "leave", "take-down"
PICTURE_CHOICES = (LEAVE, TAKE_DOWN)


@transaction.atomic
def leave_registry(*, account: Account, password: str, pictures: str) -> str:
    """Close one's own account for good; returns the pseudonym under which its reports stay.

    pictures: "leave" those of public reports under their licence, or "take-down" all. Drafts and pictures that belong
    to no report are deleted, and so is every file that was kept for measuring again; readings stay as they are. Relays
    that cite the person by their name here cite the pseudonym.
    Raises InvalidInput for a wrong password or another choice, Conflict for the last steward or while a public
    report's frames are being measured.
    """
    check_password_of(account, password)
    if pictures not in PICTURE_CHOICES:
        raise InvalidInput(
            Problem(
                code="not-a-choice",
                field="pictures",
                value=pictures,
                says="It is not said what becomes of your pictures.",
                remedy=f"Choose one of: {', '.join(PICTURE_CHOICES)}.",
            )
        )
    _refuse_while_measuring(account)
    name = account.name
    for draft in account.reports.filter(state=ReportState.DRAFT):
        discard_draft(report=draft, by=account)
    _delete_loose_pictures(account)
    _purge_pictures(account, take_down=pictures == TAKE_DOWN)
    _forget_labels(account)
    ImportedReport.objects.filter(author=account).delete()
    pseudonym = close_account(account=account, data={"pictures": pictures})
    _cite(pseudonym, instead_of=name)
    return pseudonym


def _refuse_while_measuring(account: Account) -> None:
    public = account.reports.exclude(state=ReportState.DRAFT)
    busy = next((one for one in public if one.sweeps_due), None)
    waiting = (
        SampleImage.objects.filter(report__in=public, state__in=WAITING).select_related("report").first()
    )
    if busy is None and waiting is None:
        return
    report = busy or waiting.report
    raise Conflict(
        Problem(
            code="still-measuring",
            field="reports",
            value=report.public_id,
            says=f"Frames of report {report.public_id} are being measured.",
            remedy="Try again in a minute: what they say has to be settled first.",
        )
    )


def _delete_loose_pictures(account: Account) -> None:
    loose = account.images.filter(report=None)
    _discard_once_committed(loose.values_list("original", "kept", "picture", "thumbnail"))
    loose.delete()


def _purge_pictures(account: Account, *, take_down: bool) -> None:
    """Leave of public pictures what everyone may see, or nothing but what was measured in them."""
    for image in account.images.exclude(report=None).select_related("report"):
        hidden = take_down or image.report.state == ReportState.WITHDRAWN
        gone = [image.original, image.kept, *((image.picture, image.thumbnail) if hidden else ("", ""))]
        aside = ["", "", image.withheld.get("picture", ""), image.withheld.get("thumbnail", "")]
        _discard_once_committed([gone, aside])
        image.original, image.kept, image.withheld = "", "", {}
        FrameGrain.objects.filter(image=image).delete()
        if hidden:
            image.picture = image.thumbnail = ""
        image.file_name, image.exif, image.problem = "frame", {}, None
        image.save()


def _forget_labels(account: Account) -> None:
    """What they called their cameras and copies was for themselves."""
    for thing in (*account.rigs.exclude(label=""), *account.copies.all()):
        thing.label = thing.public_id
        thing.save(update_fields=["label"])


def _cite(pseudonym: str, *, instead_of: str) -> None:
    """Let relays that name the person name the pseudonym, so that they stay the same voice as their own reports."""
    cited = Report.objects.exclude(tester_name="").values_list("tester_name", flat=True).order_by().distinct()
    spellings = [name for name in cited if one_spelling(name) == one_spelling(instead_of)]
    for report in Report.objects.filter(tester_name__in=spellings):
        hold_report(report, states=ReportState.values)
        write_report(report, tester_name=pseudonym)
    for report in Report.objects.filter(citation_author__in=spellings):
        hold_report(report, states=ReportState.values)
        write_report(report, citation_author=pseudonym)
    for field in ("tester_name", "citation_author"):
        _cite_in_revisions(field, pseudonym, instead_of=instead_of)


def _cite_in_revisions(field: str, pseudonym: str, *, instead_of: str) -> None:
    """What reports said before an edit says it under the pseudonym too; nothing else in it can be changed."""
    named = ReportRevision.objects.exclude(**{f"content__{field}": ""})
    for revision in named.only("content").iterator():
        if one_spelling(revision.content.get(field) or "") == one_spelling(instead_of):
            revision.content[field] = pseudonym
            revision.save(update_fields=["content"])


def _discard_once_committed(names: Iterable[tuple[str, str, str, str]]) -> None:
    rows = list(names)
    private = [name for original, kept, _, _ in rows for name in (original, kept)]
    public = [name for _, _, picture, thumbnail in rows for name in (picture, thumbnail)]
    transaction.on_commit(lambda: storage.discard(private_names=private, public_names=public))
