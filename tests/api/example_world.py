"""A registry of invented gear, people and tests in which every example of the reference can be asked for."""

from __future__ import annotations

from typing import Any

from api import examples as shown
from registry.accounts.models import Account
from registry.accounts.services import issue_token
from registry.bags.contents import Bag, BagBody, Carried
from registry.bags.services import keep_bag
from registry.gear.models import Adapter, Lens
from registry.kits.bag import FrontFilter, Ring
from registry.ledger.worker import drain_tasks
from registry.moderation.services import decide
from registry.picks.rules import PickGiven
from registry.picks.services import publish_list
from registry.publishing.services import make_release
from registry.reports.services import add_frame, keep_image, submit_report
from registry.standings.models import Standing
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from registry.wanted.models import WantedTest
from registry.wanted.services import rank_wanted_tests
from registry.watching.models import Notice
from registry.watching.services import watch_lens
from tests.api import moderated_world
from tests.factories import (
    AccountFactory,
    BodyFactory,
    FilterFactory,
    LensFactory,
    MakerFactory,
    MountFactory,
    TeleconverterFactory,
)
from tests.report_factories import CopyFactory, ReportFactory, RigFactory, jpeg_upload, photographed
from tests.standings.evidence import clean_up_to, divide, report_on

SMALL = (300, 200)


def build() -> tuple[Account, dict[Any, Any]]:
    """Whoever asks, a moderator, and what stands in this registry for each id that the examples name."""
    asker, other = (AccountFactory(name=name, moderator=True) for name in ("avocet", "curlew"))
    lens, second, third = _gear()
    ids = _own_things(asker, lens)
    ids |= _reports(asker, lens, third) | _decisions(other, lens, second)
    ids |= moderated_world.build(asker, other)
    drain_tasks()
    for kept in Lens.objects.all():
        refresh_lens(kept)
    rank_wanted_tests()
    make_release(shown.RELEASE)
    wanted = WantedTest.objects.get(lens__slug=shown.LACKING_LENS, cut_on_group="700-780")
    return asker, ids | {
        shown.STANDING: Standing.objects.filter(lens=lens, n_reports__gt=0).first().pk,
        shown.WANTED: wanted.pk,
        shown.NOTICE: Notice.objects.filter(account=asker).first().pk,
    }


def _gear() -> tuple[Lens, Lens, Lens]:
    osterby, quillmark, vantorre = (MakerFactory(name=name) for name in ("Osterby", "Quillmark", "Vantorre"))
    teal, curlew = MountFactory(name="Teal"), MountFactory(name="Curlew", flange_distance_mm=44)
    BodyFactory(slug=shown.BODY, name="Causey 5", maker=osterby, mount=teal)
    FilterFactory(slug=shown.FILTER, name="Dusk 720")
    TeleconverterFactory(slug=shown.TELECONVERTER, name="Extender 1.4×")
    Adapter.objects.create(
        maker=vantorre, name="Curlew to Teal", slug=shown.ADAPTER, lens_mount=curlew, body_mount=teal
    )
    prime = {"mounts": [teal], "mass_g": 300}
    return (
        LensFactory(
            slug=shown.LENS,
            name="Marram 50 mm f/1.8",
            focal_min_mm=50,
            widest_f=1.8,
            filter_thread_mm=49,
            **prime,
        ),
        LensFactory(slug=shown.OTHER_LENS, name="Samphire 35 mm f/2", maker=quillmark, widest_f=2, **prime),
        LensFactory(
            slug=shown.LACKING_LENS,
            name="Polder 200 mm f/4",
            maker=vantorre,
            focal_min_mm=200,
            widest_f=4,
            narrowest_f=22,
            filter_thread_mm=None,
            **prime,
        ),
    )


def _own_things(asker: Account, lens: Lens) -> dict[Any, Any]:
    bag = keep_bag(
        owner=asker,
        bag=Bag(
            lenses=(Carried(lens.slug),),
            cut_ons_nm=(720.0,),
            bodies=(BagBody("Causey 5"),),
            filters=(FrontFilter(720.0, 67.0),),
            rings=(Ring(49.0, 67.0),),
        ),
    )
    assert bag.lenses
    watch_lens(account=asker, lens=lens)
    picks = publish_list(
        author=asker, title="Dunes", about="", picks=[PickGiven(lens, "Clean, small, and mine.")]
    )
    return {
        shown.BAG: asker.bag.public_id,
        shown.PICKS: picks.public_id,
        shown.COPY: CopyFactory(holder=asker, lens=lens).public_id,
        shown.RIG: RigFactory(owner=asker).public_id,
        shown.TOKEN: issue_token(account=asker, name="folder tool", scopes=("read",))[0].pk,
        shown.OWN_IMAGE: keep_image(by=asker, file=_frame(1)).public_id,
    }


def _reports(asker: Account, lens: Lens, third: Lens) -> dict[Any, Any]:
    own = ReportFactory(author=asker, lens=third, grades={4: 0, 8: 0, 11: 2})
    submit_report(report=own, by=asker)
    author = AccountFactory(name="samphire")
    read = ReportFactory(lens=lens, author=author, grades=clean_up_to(8), notes="Two evenings, one wall.")
    picture = add_frame(report=read, by=read.author, file=_frame(2))
    drain_tasks()
    submit_report(report=read, by=read.author)
    draft = ReportFactory(author=asker, lens=third, grades={4: 0, 8: 0, 11: 3})
    return {
        shown.OWN_REPORT: own.public_id,
        shown.REPORT: read.public_id,
        shown.DRAFT: draft.public_id,
        shown.IMAGE: picture.public_id,
    }


def _decisions(other: Account, lens: Lens, second: Lens) -> dict[Any, Any]:
    divided = divide(lens)
    conflict = open_conflicts(lens).get()
    doubtful = divide(second)
    aside = {"act": "set-aside", "reason_code": "not-a-target", "reason": "The frames show the dunes."}
    proposed = decide(by=other, conflict=open_conflicts(second).get(), reports=doubtful[3:], **aside)
    lone = report_on(LensFactory(slug="osterby-marram-lone", mass_g=200))
    in_force = decide(by=other, act="ask", reports=[lone], reason="Was the hood on?")
    return {
        shown.CONFLICT: conflict.pk,
        shown.OTHERS_REPORT: divided[3].public_id,
        shown.PROPOSED: proposed.public_id,
        shown.IN_FORCE: in_force.public_id,
    }


def _frame(number: int):
    return jpeg_upload(photographed(frame=number, size=SMALL), name="DSC_0412.JPG")
