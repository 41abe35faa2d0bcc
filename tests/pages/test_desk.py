"""The moderators' start page, flags, blocks and appeals, as they are used in a browser."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.accounts.models import Block
from registry.gear.models import Lens
from registry.moderation.models import Appeal, Flag
from registry.moderation.services.figures import note_figures
from registry.moderation.services.flags import raise_flag
from registry.reports.models import ReportState
from tests.factories import AccountFactory, LensFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


@pytest.fixture
def moderator():
    return AccountFactory(moderator=True)


@pytest.fixture
def report():
    return ReportFactory(state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0})


@pytest.fixture
def image(report):
    return SampleImageFactory(
        report=report,
        owner=report.author,
        state="measured",
        picture="frames/aa/p.jpg",
        thumbnail="frames/aa/t.jpg",
    )


def text_of(answer):
    return " ".join(answer.content.decode().split())


@pytest.mark.parametrize("address", ["/desk/", "/review/flags/", "/review/appeals/", "/review/gear/"])
def test_nobody_but_moderators_sees_what_waits(client, address):
    assert client.get(address).status_code == 302
    client.force_login(AccountFactory())
    assert client.get(address).status_code == 403


def test_a_second_factor_is_asked_for_where_the_installation_wants_it(client, settings, moderator):
    settings.MODERATORS_NEED_SECOND_FACTOR = True
    client.force_login(moderator)
    assert client.get("/desk/").status_code == 403


def test_the_desk_tells_what_waits_and_who_is_at_it(client, moderator, report):
    LensFactory(status="proposed", name="Sedge 40 mm f/2", focal_min_mm=40)
    raise_flag(by=AccountFactory(), report=report, reason_code="spam")
    client.force_login(moderator)
    shown = text_of(client.get("/desk/"))
    assert "Flagged by readers: 1" in shown and "Proposed gear: 1" in shown and "Take it on" in shown
    client.post("/desk/handle/", {"kind": "flag", "key": report.public_id, "act": "take"})
    assert "You are at it until" in text_of(client.get("/desk/"))
    other = AccountFactory(moderator=True)
    client.force_login(other)
    assert f"{moderator} is at it until" in text_of(client.get("/desk/"))
    taken = client.post("/desk/handle/", {"kind": "flag", "key": report.public_id, "act": "take"})
    assert taken.status_code == 409


def test_an_empty_desk_says_so(client, moderator):
    client.force_login(moderator)
    assert "Nothing waits." in text_of(client.get("/desk/"))


def test_figures_are_noted_once_a_day_with_the_registry_s_reliability(client, moderator):
    lens = LensFactory(widest_f=2)
    for limit in (8, 8, 8):
        report_on(lens, limit=limit)
    noted = note_figures()
    assert noted.reliability == pytest.approx(1, abs=0.05) or noted.reliability > 0.5
    assert note_figures().pk == noted.pk
    client.force_login(moderator)
    assert "Krippendorff" in text_of(client.get("/desk/"))


def test_a_reader_flags_a_picture_and_a_moderator_finds_nothing_wrong(client, moderator, report, image):
    client.force_login(AccountFactory())
    flag = {"image": image.public_id, "reason_code": "person", "says": "A face"}
    assert "hidden until then" in text_of(
        client.post(f"/reports/{report.public_id}/flag/", flag, follow=True)
    )
    assert client.get("/pictures/frames/aa/p.jpg").status_code == 404
    client.force_login(moderator)
    assert "Hidden until you have looked" in text_of(client.get("/review/flags/"))
    settled = {"image": image.public_id, "outcome": "nothing-wrong", "reason": "A post"}
    client.post(f"/review/flags/{report.public_id}/", settled)
    image.refresh_from_db()
    assert image.picture and Flag.objects.get().settled_by == moderator


def test_a_flag_without_a_reason_is_asked_for_one(client, report):
    client.force_login(AccountFactory())
    assert client.post(f"/reports/{report.public_id}/flag/", {"reason_code": ""}).status_code == 422


def test_a_blocked_contributor_reads_why_appeals_and_another_moderator_answers(client, moderator):
    member = AccountFactory()
    client.force_login(moderator)
    client.post(f"/review/accounts/{member.public_id}/", {"reason": "Advertises"})
    client.force_login(member)
    assert "Advertises" in text_of(client.get("/account/appeals/"))
    about = {"about": f"block:{Block.objects.get().pk}", "says": "That was a test chart."}
    client.post("/account/appeals/", about)
    assert "It waits for another moderator" in text_of(client.get("/account/appeals/"))
    asked = Appeal.objects.get()
    client.force_login(moderator)
    assert "against your own decision" in text_of(client.get("/review/appeals/"))
    granted = {"act": "grant", "reason": "So it was"}
    assert client.post(f"/review/appeals/{asked.pk}/", granted).status_code == 403
    client.force_login(AccountFactory(moderator=True))
    client.post(f"/review/appeals/{asked.pk}/", granted)
    assert Block.objects.get().lifted_at


def test_nobody_appeals_for_someone_else(client, moderator, image):
    client.force_login(AccountFactory())
    sent = {"about": f"picture:{image.pk}", "says": "Show it"}
    assert client.post("/account/appeals/", sent).status_code == 422


def test_a_block_can_be_made_for_a_while(client, moderator):
    client.force_login(moderator)
    reader = AccountFactory()
    address = f"/review/accounts/{reader.public_id}/"
    past = client.post(address, {"reason": "Advertises.", "until": "2024-05-31"})
    assert (past.status_code, Block.objects.count()) == (422, 0)
    assert "within the next five years" in text_of(past)
    day = timezone.now().date() + timedelta(days=3)
    client.post(address, {"reason": "Advertises.", "until": day.isoformat()})
    until = Block.objects.get().until
    assert (until.date(), until.hour) == (day + timedelta(days=1), 0)
    assert f"until {until.day}" in text_of(client.get(address))
    Block.objects.update(until=timezone.now() - timedelta(minutes=1))
    shown = text_of(client.get(address))
    assert "; over" in shown
    assert "Let it submit again" not in shown


def test_proposed_gear_is_refused_with_a_reason_unless_a_report_names_it(client, moderator):
    client.force_login(moderator)
    unneeded, reported = (LensFactory(status="proposed") for _ in range(2))
    ReportFactory(lens=reported)
    assert "Take it out of the catalogue" in text_of(client.get("/review/gear/"))
    for lens, status in ((unneeded, 302), (reported, 409)):
        sent = {"kind": "lens", "slug": lens.slug, "reason": "No such lens."}
        assert client.post("/review/gear/refuse/", sent).status_code == status
    assert list(Lens.objects.all()) == [reported]
