"""What moderators see to, for the examples of the reference: flags, blocks, appeals, doubles, reports that wait."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from api import examples as shown
from registry.accounts.models import Account
from registry.gear.models import GearStatus
from registry.ledger.models import Event
from registry.moderation.models import FlagOutcome, Ground, VoiceSign
from registry.moderation.services.appeals import appeal, block_account
from registry.moderation.services.catalogue import merge_doubles
from registry.moderation.services.figures import note_figures
from registry.moderation.services.flags import raise_flag, settle_flags
from registry.moderation.services.interests import declare_interest
from registry.reports.models import ReportState
from tests.factories import AccountFactory, BodyFactory, LensFactory, MakerFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import CopyFactory, ReportFactory
from tests.standings.evidence import SUBMITTED, relay_on, report_on


def build(asker: Account, other: Account) -> dict[Any, Any]:
    """What waits for the asker, a moderator; what needed one already, the other has done."""
    return _people(other) | _pictures(asker, other) | _gear(asker, other) | _waiting() | _alike()


def _people(other: Account) -> dict[Any, Any]:
    blocked = AccountFactory(name="knot")
    block = block_account(account=blocked, by=other, reason="It advertises a shop in every note.")
    asked = appeal(by=blocked, says="That was my brother.", block=block)
    return {
        shown.ACCOUNT: AccountFactory(name="glasswort").public_id,
        shown.BLOCK: block.pk,
        shown.APPEAL: asked.pk,
        shown.EVENT: Event.objects.order_by("sequence").first().sequence,
    }


def _pictures(asker: Account, other: Account) -> dict[Any, Any]:
    reader = AccountFactory(name="dunlin")
    flagged, own = (
        SampleImageFactory(
            report=ReportFactory(author=author, submitted_at=timezone.now(), **SUBMITTED),
            owner=author,
            state="measured",
        )
        for author in (AccountFactory(name="plover"), asker)
    )
    flag, _ = (
        raise_flag(by=reader, report=image.report, image=image, reason_code="person", says="Left edge.")
        for image in (flagged, own)
    )
    settle_flags(by=other, report=own.report, image=own, outcome=FlagOutcome.HIDDEN, reason="A face.")
    return {
        shown.FLAG: flag.pk,
        shown.HIDDEN: flagged.public_id,
        shown.OWN_HIDDEN: own.public_id,
    }


def _gear(asker: Account, other: Account) -> dict[Any, Any]:
    known = {"mass_g": 300}
    LensFactory(name="Marram 35 mm f/1.4", slug=shown.KEPT, **known)
    LensFactory(name="Maram 35/1.4", slug=shown.DOUBLE, **known)
    LensFactory(
        name="Sedge 40 mm f/2",
        slug=shown.PROPOSED_LENS,
        focal_min_mm=40,
        widest_f=2,
        status=GearStatus.PROPOSED,
        **known,
    )
    kept, double = BodyFactory(name="Causey 2"), BodyFactory(name="Causey II")
    merge = merge_doubles(double=double, into=kept, by=other, reason="One body, two spellings.")
    interest = declare_interest(account=asker, maker=MakerFactory(name="Ferrow"))
    note_figures()
    return {shown.MERGE: merge.pk, shown.INTEREST: interest.pk}


def _waiting() -> dict[Any, Any]:
    waiting = ReportFactory(
        author=AccountFactory(name="sanderling"),
        state=ReportState.WAITING,
        submitted_at=timezone.now(),
        grades={4: 0, 8: 0, 11: 2},
    )
    return {shown.WAITING: waiting.public_id}


def _alike() -> dict[Any, Any]:
    """Two who registered together and tested one lens; one copy in two hands; one page told of by two people."""
    lens, joined = LensFactory(slug="osterby-marram-28", mass_g=210), timezone.now() - timedelta(days=200)
    pair = [AccountFactory(name=name, joined_at=joined) for name in ("redshank", "greenshank")]
    for account in pair:
        copy = CopyFactory(lens=lens, holder=account, label="the club’s own", serial_hash="f" * 64)
        report_on(lens, author=account, copy=copy)
    report_on(lens, author=pair[0], state=ReportState.WAITING)
    for tester in ("R. Samphire", "S. Rush"):
        relay_on(lens, tester=tester, url="https://saltmarsh.example/infrared-3", title="Infrared, part 3")
    figures = {"minutes_apart": 4, "accounts": 2, "alike_stops": 6, "shared_stops": 7}
    VoiceSign.objects.create(
        first=pair[0], second=pair[1], lens=lens, ground=Ground.TOGETHER, figures=figures
    )
    return {shown.ONE_VOICE: pair[0].public_id, shown.OTHER_VOICE: pair[1].public_id}
