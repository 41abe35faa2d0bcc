"""Digests: what changed since the last one, in whole days or weeks, with the reports that caused it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.errors import InvalidInput, NotFound
from registry.reports.services import set_aside, submit_report
from registry.watching import mails, services
from registry.watching.models import MailChoice, NoticeMail, Rhythm, Scope
from registry.watching.rules import told_until
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import clean_up_to
from tests.watching.letters import confirmed

pytestmark = pytest.mark.django_db
DAY, WEEK = timedelta(days=1), timedelta(days=7)


@pytest.fixture
def reader():
    return confirmed()


def digest_of(reader, **choice):
    return services.choose_mail(
        account=reader, **{"notices": NoticeMail.NONE, "digest": Rhythm.DAILY, "scope": Scope.ALL} | choice
    )


def submitted(lens):
    report = ReportFactory(lens=lens, grades=clean_up_to(8))
    return submit_report(report=report, by=report.author)


def tomorrow():
    return timezone.now() + DAY + timedelta(minutes=1)


def test_a_digest_tells_what_changed_and_which_reports_caused_it(reader, drain, mailoutbox):
    choice = digest_of(reader)
    report = submitted(LensFactory(widest_f=2))
    drain()
    assert services.send_digest(choice, now=tomorrow())
    (letter,) = mailoutbox
    assert "1 change" in letter.subject
    assert "before that no reports" in letter.body
    assert f"/reports/{report.public_id}/" in letter.body
    assert letter.message()["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


def test_a_digest_of_my_lenses_leaves_the_others_out(reader, drain, mailoutbox):
    mine, other = LensFactory(widest_f=2), LensFactory(widest_f=2)
    services.watch_lens(account=reader, lens=mine)
    choice = digest_of(reader, scope=Scope.MINE)
    for lens in (mine, other):
        submitted(lens)
    drain()
    services.send_digest(choice, now=tomorrow())
    assert str(mine) in mailoutbox[0].body and str(other) not in mailoutbox[0].body


def test_a_quiet_day_brings_no_letter_and_nothing_is_told_twice(reader, drain, mailoutbox):
    choice = digest_of(reader)
    submitted(LensFactory(widest_f=2))
    drain()
    assert services.send_digest(choice, now=tomorrow())
    assert not services.send_digest(choice, now=tomorrow())
    assert not services.send_digest(choice, now=tomorrow() + DAY)
    assert len(mailoutbox) == 1


def test_spans_are_whole_days_or_weeks_so_that_they_never_drift():
    begins = timezone.now()
    assert told_until(begins, Rhythm.DAILY, begins + timedelta(hours=23)) is None
    assert told_until(begins, Rhythm.DAILY, begins + timedelta(hours=25)) == begins + DAY
    assert told_until(begins, Rhythm.DAILY, begins + timedelta(days=3.5)) == begins + 3 * DAY
    assert told_until(begins, Rhythm.WEEKLY, begins + timedelta(days=8)) == begins + WEEK
    assert told_until(begins, Rhythm.NEVER, begins + WEEK) is None


def test_notices_about_my_reports_come_with_the_digest_when_asked(reader, drain, mailoutbox):
    choice = digest_of(reader, notices=NoticeMail.DIGEST)
    report = ReportFactory(lens=LensFactory(widest_f=2), author=reader, grades=clean_up_to(8))
    submit_report(report=report, by=reader)
    drain()
    set_aside(report=report, by=AccountFactory(moderator=True), reason="A scene, not a target.")
    drain()
    assert mailoutbox == []
    services.send_digest(choice, now=tomorrow())
    assert "A scene, not a target." in mailoutbox[0].body
    assert not reader.notices.filter(mail_due=True).exists()


def test_notices_cannot_wait_for_a_digest_that_never_comes(reader):
    with pytest.raises(InvalidInput) as refusal:
        services.choose_mail(account=reader, notices=NoticeMail.DIGEST, digest=Rhythm.NEVER)
    assert refusal.value.first.field == "digest"


def test_the_link_in_a_letter_stops_all_mail_and_no_other_link_does(reader):
    digest_of(reader, notices=NoticeMail.AT_ONCE)
    services.stop_mail(token=mails.stop_token(reader))
    choice = MailChoice.objects.get(account=reader)
    assert (choice.notices, choice.digest) == (NoticeMail.NONE, Rhythm.NEVER)
    with pytest.raises(NotFound):
        services.stop_mail(token=mails.stop_token(reader)[:-2] + "xx")
