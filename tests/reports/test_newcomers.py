"""A newcomer's first report without frames counts once somebody established has confirmed it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.errors import Conflict, NotAllowed
from registry.ledger.models import Event
from registry.moderation.services.appeals import block_account
from registry.reports.models import Report, ReportState
from registry.reports.services import submit_report
from registry.reports.services.confirming import confirm_report
from registry.standings.models import Standing
from registry.watching.models import Notice
from tests.factories import AccountFactory, LensFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def newcomers_wait(settings):
    settings.NEW_REPORTS_WAIT = True
    settings.MODERATORS_NEED_SECOND_FACTOR = False
    settings.LEDGER_FOLLOWERS = "registry.project.followers.FOLLOWERS"


def graded(author=None, lens=None):
    return ReportFactory(author=author or AccountFactory(), lens=lens or LensFactory(), grades={8: 0, 11: 2})


def submitted(report):
    return submit_report(report=report, by=report.author)


def established():
    account = AccountFactory()
    report = graded(account)
    Report.objects.filter(pk=report.pk).update(state=ReportState.SUBMITTED, submitted_at=timezone.now())
    return account


def test_it_is_public_as_waiting_and_does_not_count(drain, client):
    report = submitted(graded())
    drain()
    assert report.state == ReportState.WAITING
    assert not Standing.objects.filter(lens=report.lens, n_reports__gt=0).exists()
    shown = client.get(f"/reports/{report.public_id}/")
    assert shown.status_code == 200 and "does not count yet" in shown.content.decode()


def test_confirmed_it_counts_and_its_author_is_told(drain):
    report = submitted(graded())
    confirm_report(report=report, by=established())
    drain()
    assert Standing.objects.get(lens=report.lens, leads=True).n_reports == 1
    assert Notice.objects.filter(account=report.author, event__name="report.confirmed").exists()
    assert list(Event.objects.values_list("name", flat=True))[:2] == ["report.waiting", "report.confirmed"]


def test_after_the_first_confirmation_the_next_counts_at_once():
    author = AccountFactory()
    confirm_report(report=submitted(graded(author)), by=AccountFactory(moderator=True))
    assert submitted(graded(author)).state == ReportState.SUBMITTED


def test_a_report_with_frames_an_older_account_and_a_moderator_do_not_wait():
    framed = graded()
    image = SampleImageFactory(
        report=framed, owner=framed.author, state="measured", f_number=8, focal_length_mm=35
    )
    ReadingFactory(sweep=SweepFactory(report=framed, focal_length_mm=36), image=image)
    assert submitted(framed).state == ReportState.SUBMITTED
    old = AccountFactory(joined_at=timezone.now() - timedelta(days=31))
    assert submitted(graded(old)).state == ReportState.SUBMITTED
    assert submitted(graded(AccountFactory(moderator=True))).state == ReportState.SUBMITTED


def test_where_the_installation_does_not_ask_for_it_nothing_waits(settings):
    settings.NEW_REPORTS_WAIT = False
    assert submitted(graded()).state == ReportState.SUBMITTED


def test_neither_its_author_nor_another_newcomer_nor_a_blocked_account_confirms():
    report, member = submitted(graded()), established()
    block_account(account=member, by=AccountFactory(moderator=True), reason="Advertises")
    for account in (report.author, AccountFactory(), member):
        with pytest.raises(NotAllowed):
            confirm_report(report=report, by=account)


def test_two_who_confirm_at_once_confirm_once():
    report = submitted(graded())
    confirm_report(report=report, by=established())
    with pytest.raises(Conflict, match="submitted"):
        confirm_report(report=report, by=established())


def test_confirming_on_the_page(client):
    report, member = submitted(graded()), established()
    client.force_login(member)
    assert "Confirm it" in client.get("/reports/waiting/").content.decode()
    client.post(f"/reports/{report.public_id}/confirm/")
    report.refresh_from_db()
    assert report.state == ReportState.SUBMITTED
