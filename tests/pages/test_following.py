"""Watching, notices, mail and feeds as pages."""

import re

import pytest
from django.urls import reverse

from registry.reports.services import submit_report
from registry.watching import services
from registry.watching.mails import stop_token
from registry.watching.models import MailChoice, Notice, NoticeMail, Watch
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import clean_up_to
from tests.watching.letters import confirmed

pytestmark = pytest.mark.django_db


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def told(signed_in, contributor, lens, drain):
    """A watcher who has one notice."""
    services.watch_lens(account=contributor, lens=lens)
    report = ReportFactory(lens=lens, author=AccountFactory(name="dunlin"), grades=clean_up_to(8))
    submit_report(report=report, by=report.author)
    drain()
    return signed_in


def test_a_lens_is_watched_from_its_page(signed_in, contributor, lens):
    page = reverse("lens", args=[lens.slug])
    assert "Watch this lens" in text_of(signed_in.get(page))
    answer = signed_in.post(reverse("watch-lens", args=[lens.slug]), follow=True)
    assert answer.redirect_chain[-1][0] == page
    assert "Stop watching" in text_of(answer)
    assert Watch.objects.get().account == contributor
    signed_in.post(reverse("watch-lens", args=[lens.slug]), {"act": "stop"})
    assert not Watch.objects.exists()


def test_whoever_is_not_signed_in_is_led_to_sign_in(client, lens):
    assert "Sign in to watch it" in text_of(client.get(reverse("lens", args=[lens.slug])))
    answer = client.post(reverse("watch-lens", args=[lens.slug]))
    assert answer.status_code == 302 and reverse("account_login") in answer.url


def test_my_watches_say_what_is_known_of_each_lens(told, lens):
    page = text_of(told.get(reverse("my-watches")))
    assert str(lens) in page and "One report so far: clean to f/8." in page


def test_an_empty_list_of_watches_says_how_to_begin(signed_in):
    assert "You watch no lens yet" in text_of(signed_in.get(reverse("my-watches")))


def test_the_masthead_counts_what_is_new_until_it_is_read(told):
    assert '<span class="count">1<span class="unseen"> new</span></span>' in text_of(
        told.get(reverse("method"))
    )
    told.post(reverse("read-notices"))
    assert 'class="count"' not in text_of(told.get(reverse("method")))


def test_a_notice_says_what_changed_and_which_report_caused_it(told, lens):
    page = text_of(told.get(reverse("notices")))
    assert "you watch it" in page and "before that no reports" in page
    assert "A report by dunlin came in." in page
    assert re.search(r'href="/reports/\w{10}/"', page)


def test_one_notice_is_marked_read_and_nobody_elses(told, contributor):
    other = Notice.objects.create(account=AccountFactory(), event=Notice.objects.get().event, why="watched")
    mine = Notice.objects.get(account=contributor)
    for notice in (mine, other):
        told.post(reverse("read-notices"), {"notice": notice.pk})
    mine.refresh_from_db()
    other.refresh_from_db()
    assert mine.read_at and other.read_at is None


@pytest.mark.parametrize("name", ["my-watches", "notices", "mail-choice"])
def test_ones_own_pages_ask_who_one_is(client, name):
    assert reverse("account_login") in client.get(reverse(name)).url


def test_mail_is_chosen_and_a_contradiction_is_said_beside_its_field(signed_in, contributor):
    address = reverse("mail-choice")
    refused = signed_in.post(address, {"notices": "digest", "digest": "never", "scope": "mine"})
    assert refused.status_code == 422
    assert "a digest that never comes" in text_of(refused)
    signed_in.post(address, {"notices": "digest", "digest": "weekly", "scope": "all"})
    assert MailChoice.objects.get(account=contributor).digest == "weekly"


def test_whoever_has_not_confirmed_their_address_is_told_that_no_letter_comes(signed_in, contributor):
    address = reverse("mail-choice")
    assert "No letter goes there yet" in text_of(signed_in.get(address))
    confirmed(contributor)
    assert "No letter goes there yet" not in text_of(signed_in.get(address))


def test_a_letters_link_asks_first_and_stops_when_pressed(client, contributor):
    services.choose_mail(account=contributor, notices=NoticeMail.AT_ONCE, digest="daily")
    link = reverse("stop-mail", args=[stop_token(contributor)])
    assert "Stop all mail?" in text_of(client.get(link))
    assert MailChoice.objects.get().digest == "daily"
    client.post(link)
    assert (MailChoice.objects.get().notices, MailChoice.objects.get().digest) == ("none", "never")


def test_a_mail_program_stops_the_mail_without_a_page_of_ours(contributor):
    """RFC 8058, 3.2: a POST of just this body, with neither cookies nor anything from an earlier page."""
    from django.test import Client

    link = reverse("stop-mail", args=[stop_token(contributor)])
    answer = Client(enforce_csrf_checks=True).post(link, {"List-Unsubscribe": "One-Click"})
    assert answer.status_code == 200
    assert MailChoice.objects.get().notices == "none"


def test_a_made_up_link_stops_nothing(client, contributor):
    assert client.post(reverse("stop-mail", args=["made-up"])).status_code == 404
    assert not MailChoice.objects.exists()


def test_feeds_are_listed_and_linked_from_every_page(client, lens):
    assert reverse("feed-mount", args=["teal"]) in text_of(client.get(reverse("feeds")))
    assert f'href="{reverse("feed-all")}"' in text_of(client.get(reverse("method")))
    assert reverse("feed-lens", args=[lens.slug]) in text_of(client.get(reverse("lens", args=[lens.slug])))


def test_a_page_of_notices_takes_few_statements(signed_in, contributor, drain, django_assert_max_num_queries):
    for _ in range(8):
        lens = LensFactory(widest_f=2)
        services.watch_lens(account=contributor, lens=lens)
        report = ReportFactory(lens=lens, grades=clean_up_to(8))
        submit_report(report=report, by=report.author)
    drain()
    with django_assert_max_num_queries(14):
        signed_in.get(reverse("notices"))
