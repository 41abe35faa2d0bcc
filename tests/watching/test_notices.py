"""Whom a change concerns: one notice per event and account, and nothing about one's own act."""

import pytest
from django.db import transaction

from registry.bags.models import BagLens, KeptBag
from registry.ledger.models import Event
from registry.ledger.services import record
from registry.reports.services import restore, set_aside, submit_report
from registry.standings.services import refresh_lens
from registry.watching import services, tasks
from registry.watching.models import MailChoice, Notice, NoticeMail, Rhythm, Why
from registry.watching.queries import notices_of, notices_told, unread_count
from registry.watching.rules import verdict_moved, verdict_of
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import clean_up_to, report_on
from tests.watching.letters import confirmed

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(widest_f=2)


@pytest.fixture
def watcher(lens):
    account = confirmed(AccountFactory(name="thrift"))
    services.watch_lens(account=account, lens=lens)
    return account


def submit_on(lens, author=None, limit=8):
    author = author or AccountFactory()
    report = ReportFactory(lens=lens, author=author, grades=clean_up_to(limit))
    return submit_report(report=report, by=author)


def test_a_watcher_hears_of_a_changed_verdict_and_of_the_report_that_changed_it(lens, watcher, drain):
    report = submit_on(lens)
    drain()
    (told,) = notices_told(notices_of(watcher))
    assert told.notice.why == Why.WATCHED
    assert str(lens) in told.title
    (move,) = told.change.moves
    assert (move.before, move.after) == ("no reports", "one report so far: clean to f/8 (tentative)")
    assert told.change.reports == (report,)
    assert report.author.name in told.change.cause


def test_whoever_reported_on_a_lens_or_has_it_in_the_bag_hears_too(lens, drain):
    reporter, holder = AccountFactory(), AccountFactory()
    report_on(lens, author=reporter)
    BagLens.objects.create(bag=KeptBag.objects.create(owner=holder), lens=lens, state="considered", place=1)
    submit_on(lens)
    drain()
    assert {notice.account: notice.why for notice in Notice.objects.all()} == {
        reporter: Why.REPORTED,
        holder: Why.IN_BAG,
    }


def test_nobody_is_told_of_their_own_act(lens, watcher, drain):
    submit_on(lens, author=watcher)
    drain()
    assert unread_count(watcher) == 0


def test_an_event_told_twice_is_one_notice(lens, watcher, drain):
    submit_on(lens)
    drain()
    event = Event.objects.get(name="standing.changed")
    tasks.tell_concerned.func(event.sequence)
    assert unread_count(watcher) == 1


def test_being_more_sure_of_the_same_verdict_is_no_notice():
    surer = {"before": "clean to f/8 (tentative)", "after": "clean to f/8 (fair)"}
    other = {"before": "clean to f/8 (fair)", "after": "clean to f/5.6 (fair)"}
    assert not verdict_moved([surer])
    assert verdict_moved([surer, other])
    assert verdict_of("no reports") == "no reports"
    assert verdict_of("hot from f/4 (as claimed)") == "hot from f/4 (as claimed)"


def test_an_author_is_told_that_a_report_was_set_aside_with_the_reason_and_restored(lens, drain):
    report = submit_on(lens)
    moderator = AccountFactory(moderator=True)
    drain()
    set_aside(report=report, by=moderator, reason="The frames show a scene, not a target.")
    drain()
    restore(report=report, by=moderator, reason="It was a target after all.")
    drain()
    about = [told for told in notices_told(notices_of(report.author)) if told.report]
    assert [told.reason for told in about] == [
        "It was a target after all.",
        "The frames show a scene, not a target.",
    ]
    assert {told.notice.why for told in about} == {Why.AUTHOR}
    assert "counts again" in about[0].title and "set aside" in about[1].title


def test_a_question_about_a_report_reaches_its_author(lens, drain):
    report = submit_on(lens)
    with transaction.atomic():
        record(
            "report.questioned",
            actor=AccountFactory(moderator=True),
            subject_kind="report",
            subject_id=report.public_id,
            data={"lens": lens.slug, "question": "Was the hood on?"},
        )
    drain()
    (told,) = [told for told in notices_told(notices_of(report.author)) if told.report == report]
    assert "has a question about your report" in told.title and told.reason == "Was the hood on?"


def test_marking_read_concerns_ones_own_notices_only(lens, watcher, drain):
    submit_on(lens)
    drain()
    notice = Notice.objects.get(account=watcher)
    assert services.mark_read(account=AccountFactory(), notice_id=notice.pk) == 0
    assert services.mark_read(account=watcher, notice_id=notice.pk) == 1
    assert unread_count(watcher) == 0


def test_a_notice_is_mailed_at_once_with_a_way_to_stop(lens, watcher, drain, mailoutbox):
    report = submit_on(lens)
    drain()
    (letter,) = [letter for letter in mailoutbox if letter.to == [watcher.email]]
    assert "clean to f/8" in letter.subject
    assert f"/reports/{report.public_id}/" in letter.body and "&" not in letter.subject
    headers = letter.message()
    # RFC 8058, 3.1: both headers, an HTTPS (here: the site's own) address, exactly this value
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert headers["List-Unsubscribe"].strip("<>").split("/notices/stop/")[1]


def test_notices_that_are_not_to_be_mailed_are_not(lens, watcher, drain, mailoutbox):
    services.choose_mail(account=watcher, notices=NoticeMail.NONE, digest=Rhythm.NEVER)
    submit_on(lens)
    drain()
    assert unread_count(watcher) == 1
    assert mailoutbox == []


def test_one_letter_tells_all_that_waits(lens, watcher, drain, mailoutbox):
    other = LensFactory(widest_f=2)
    services.watch_lens(account=watcher, lens=other)
    for tested in (lens, other):
        for _ in range(2):
            report_on(tested)
        refresh_lens(tested, cause="whole refresh")  # no report caused it: the letter waits for the hour
    drain()
    assert mailoutbox == []
    tasks.send_mail_due.enqueue()
    drain()
    (letter,) = [letter for letter in mailoutbox if letter.to == [watcher.email]]
    assert "and 1 more" in letter.subject
    sent = len(mailoutbox)
    tasks.send_mail_due.enqueue()
    drain()
    assert len(mailoutbox) == sent


def test_a_letter_that_cannot_be_sent_is_still_due(lens, watcher, drain, monkeypatch):
    def refuse(self, **options):
        raise OSError("no mail server")

    services.choose_mail(account=watcher, notices=NoticeMail.AT_ONCE, digest=Rhythm.NEVER)
    report_on(lens)
    refresh_lens(lens)
    drain()
    monkeypatch.setattr("django.core.mail.EmailMessage.send", refuse)
    with pytest.raises(OSError, match="no mail server"):
        services.mail_notices(watcher)
    assert Notice.objects.get(account=watcher).mail_due


def test_words_in_letters_are_plain_text_not_markup(drain, mailoutbox):
    lens = LensFactory(name="Marram & Sons 35 mm f/2", widest_f=2)
    watcher = confirmed()
    services.watch_lens(account=watcher, lens=lens)
    submit_on(lens)
    drain()
    assert "Marram & Sons" in mailoutbox[0].body and "&amp;" not in mailoutbox[0].body


def test_a_closed_account_is_told_nothing(lens, watcher, drain, mailoutbox):
    watcher.is_active = False
    watcher.save()
    submit_on(lens)
    drain()
    assert not Notice.objects.exists() and mailoutbox == []


def test_an_unconfirmed_address_gets_no_mail(lens, drain, mailoutbox):
    stranger, newcomer = AccountFactory(), AccountFactory()
    newcomer.emailaddress_set.create(email=newcomer.email, verified=False, primary=True)
    for account in (stranger, newcomer):
        services.watch_lens(account=account, lens=lens)
    submit_on(lens)
    drain()
    assert Notice.objects.count() == 2 and mailoutbox == []


def test_changing_how_one_is_written_to_sends_nothing_old(lens, watcher, drain, mailoutbox):
    services.choose_mail(account=watcher, notices=NoticeMail.DIGEST, digest=Rhythm.WEEKLY)
    submit_on(lens)
    drain()
    services.choose_mail(account=watcher, notices=NoticeMail.AT_ONCE, digest=Rhythm.NEVER)
    tasks.send_mail_due.enqueue()
    drain()
    assert mailoutbox == []
    assert MailChoice.objects.get().notices == NoticeMail.AT_ONCE
