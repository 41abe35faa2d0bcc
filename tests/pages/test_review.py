"""The review desk's pages: who sees what, deciding in a form, and what is told when someone else was first."""

import re

import pytest
from django.urls import reverse

from registry.ledger.worker import drain_tasks
from registry.moderation.models import Decision, Interest
from registry.moderation.services import decide
from registry.reports.models import ReportState
from registry.standings.models import Standing
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import CopyFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens(db):
    return LensFactory(widest_f=2, name="Marram 35 mm f/2", slug="osterby-marram-35-f2")


@pytest.fixture
def divided(lens):
    """Six with the filter in front say f/11, six with it behind f/4."""
    reports = [report_on(lens, limit=11, filter_position="front") for _ in range(6)]
    reports += [report_on(lens, limit=4, filter_position="rear") for _ in range(6)]
    refresh_lens(lens)
    return reports


@pytest.fixture
def conflict(lens, divided):
    return open_conflicts(lens).get()


@pytest.fixture
def moderator(db):
    return AccountFactory(moderator=True, name="Avocet")


@pytest.fixture
def at_the_desk(client, moderator):
    client.force_login(moderator)
    return client


def text_of(response):
    """A page's words, without markup, in single spaces."""
    bare = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r"\s+", " ", bare).replace(" .", ".").replace(" ,", ",")


def address(conflict):
    return reverse("review-conflict", args=[conflict.pk])


def test_the_list_tells_lens_camps_explanation_and_impact(client, conflict):
    told = text_of(client.get(reverse("review-conflicts")))
    assert "Marram 35 mm f/2" in told
    assert "First explanation: where the filter sat" in told
    assert "Impact" in told


def test_copies_that_no_two_tests_share_do_not_look_like_what_separates_them(client, lens):
    for limit in (11, 4) * 5:
        report_on(lens, limit=limit, copy=CopyFactory(lens=lens))
    refresh_lens(lens)
    told = text_of(client.get(address(open_conflicts(lens).get())))
    assert "The copy of the lens 5 different ones 5 different ones each its own" in told


def test_no_explanation_is_offered_where_the_evidence_speaks_against_all(client, lens, db):
    for limit in (11, 4) * 6:
        report_on(lens, limit=limit)
    refresh_lens(lens)
    assert open_conflicts(lens).exists()
    told = text_of(client.get(reverse("review-conflicts")))
    assert "Nothing explains it so far" in told
    assert "First explanation" not in told


def test_without_conflicts_it_says_so_and_where_to_go(client, db):
    assert "No conflict is open" in text_of(client.get(reverse("review-conflicts")))


def test_a_conflict_shows_strength_what_differs_and_what_would_become(client, conflict):
    told = text_of(client.get(address(conflict)))
    assert re.search(r"Where the filter sat: (very )?strong, [\w ]+ to 1", told)
    assert "differs throughout" in told
    assert (
        "state it by condition: with the filter in front of the lens and with the filter behind the lens"
        in told
    )
    assert (
        "clean to f/11 with the filter in front of the lens; clean to f/4 with the filter behind the lens"
        in told
    )
    assert "Moderators decide here" in told


def test_who_has_a_part_in_it_is_told_before_writing_anything(
    at_the_desk, moderator, lens, divided, conflict
):
    report_on(lens, limit=11, author=moderator)
    refresh_lens(lens)
    page = at_the_desk.get(address(conflict))
    assert 'name="act"' not in page.content.decode()
    assert "is your own, or tells of your own test. Leave this to another moderator." in text_of(page)


def test_a_contributor_sees_no_form_and_is_refused(client, conflict):
    client.force_login(AccountFactory())
    assert 'name="act"' not in client.get(address(conflict)).content.decode()
    answer = client.post(address(conflict), {"act": "accept", "reason": "x", "version": conflict.version})
    assert answer.status_code == 403
    assert Decision.objects.count() == 0


def test_splitting_by_condition_states_the_lens_by_condition(at_the_desk, client, lens, conflict):
    sent = {
        "act": "split",
        "factor": "filter_position",
        "reason": "It plainly does.",
        "version": conflict.version,
    }
    answer = at_the_desk.post(address(conflict), sent, follow=True)
    assert "Decided. It stands here for everyone to read" in text_of(answer)
    drain_tasks()
    page = text_of(at_the_desk.get(reverse("lens", args=[lens.slug])))
    assert (
        "clean to f/11 with the filter in front of the lens; clean to f/4 with the filter behind the lens"
        in page
    )
    assert "Closed on" in text_of(at_the_desk.get(address(conflict)))


def test_setting_aside_all_of_a_side_is_proposed_and_agreed_to_by_another(
    at_the_desk, lens, divided, conflict
):
    hot = [report.public_id for report in divided[6:]]
    sent = {
        "act": "set-aside", "reports": hot, "reason_code": "other-light", "reason": "One lamp for all.",
        "version": conflict.version,
    }  # fmt: skip
    answer = at_the_desk.post(address(conflict), sent, follow=True)
    assert "a second moderator has to agree" in text_of(answer)
    made = Decision.objects.get()
    assert "You proposed this" in text_of(answer)
    at_the_desk.force_login(AccountFactory(moderator=True))
    assert "One lamp for all." in text_of(at_the_desk.get(reverse("review-conflicts")))
    at_the_desk.post(reverse("review-answer", args=[made.public_id]), {"act": "agree", "reason": "Plainly."})
    drain_tasks()
    divided[6].refresh_from_db()
    assert divided[6].state == ReportState.SET_ASIDE
    assert Standing.objects.get(lens=lens).words == "clean to f/11"
    at_the_desk.post(reverse("review-undo", args=[made.public_id]), {"reason": "Two lamps."})
    drain_tasks()
    assert Standing.objects.get(lens=lens).words == "reports differ"


def test_who_was_second_sees_what_changed_and_keeps_their_text(at_the_desk, divided, conflict):
    page = at_the_desk.get(address(conflict)).content.decode()
    seen = re.search(r'name="seen" value="(\d+)"', page)[1]
    other = AccountFactory(moderator=True, name="Curlew")
    decide(by=other, act="ask", conflict=conflict, reports=divided[:1], reason="Which filter was on?")
    sent = {
        "act": "accept",
        "reason": "I thought long about this.",
        "version": conflict.version,
        "seen": seen,
    }
    answer = at_the_desk.post(address(conflict), sent)
    told = text_of(answer)
    assert answer.status_code == 409
    assert "What changed since you opened this page" in told
    assert "decided: asked the author. Which filter was on?" in told
    assert "I thought long about this." in answer.content.decode()
    assert at_the_desk.post(address(conflict), sent | {"version": _version(answer)}).status_code == 302


def _version(answer):
    return re.search(r'name="version" value="(\d+)"', answer.content.decode())[1]


@pytest.mark.parametrize(
    "wrong", [{"reason": ""}, {"act": ""}, {"act": "set-aside"}, {"act": "same-copy", "reports": []}]
)
def test_what_is_missing_is_said_beside_its_field(at_the_desk, conflict, wrong):
    sent = {"act": "accept", "reason": "Because.", "version": conflict.version} | wrong
    answer = at_the_desk.post(address(conflict), sent)
    assert (answer.status_code, Decision.objects.count()) == (422, 0)
    assert 'class="wrong"' in answer.content.decode()


def test_a_conflict_is_taken_on_and_handed_back(at_the_desk, conflict):
    at_the_desk.post(reverse("review-handle", args=[conflict.pk]))
    assert "You are at it" in text_of(at_the_desk.get(address(conflict)))
    at_the_desk.force_login(AccountFactory(moderator=True))
    assert "Avocet is at it" in text_of(at_the_desk.get(reverse("review-conflicts")))
    assert at_the_desk.post(reverse("review-handle", args=[conflict.pk])).status_code == 409
    at_the_desk.force_login(AccountFactory._meta.model.objects.get(name="Avocet"))
    at_the_desk.post(reverse("review-handle", args=[conflict.pk]), {"act": "back"})
    assert "Nobody is at it" in text_of(at_the_desk.get(address(conflict)))


def test_decisions_are_public_and_name_roles_as_the_installation_allows(
    client, conflict, moderator, settings
):
    made = decide(by=moderator, act="accept", conflict=conflict, reason="Nothing tells them apart.")
    assert "Avocet, moderator" in text_of(client.get(reverse("review-decisions")))
    settings.DECISIONS_NAME_MODERATORS = False
    told = text_of(client.get(reverse("review-decision", args=[made.public_id])))
    assert "a moderator" in told
    assert "Avocet" not in told


def test_gear_is_foreseen_then_proposed_and_the_author_consents(at_the_desk, lens, divided):
    other = LensFactory(widest_f=2)
    report = divided[0]
    gear = reverse("review-gear", args=[report.public_id])
    sent = {
        "lens": other.slug,
        "filter_position": "front",
        "reason": "The EXIF says so.",
        "version": report.version,
    }
    foreseen = at_the_desk.post(gear, sent | {"act": "foresee"})
    assert "one report so far" in text_of(foreseen)
    assert Decision.objects.count() == 0
    at_the_desk.post(gear, sent | {"act": "propose"})
    made = Decision.objects.get()
    at_the_desk.force_login(report.author)
    assert "It takes effect once you agree" in text_of(
        at_the_desk.get(reverse("review-decision", args=[made.public_id]))
    )
    at_the_desk.post(reverse("review-answer", args=[made.public_id]), {"act": "agree", "reason": "Yes."})
    report.refresh_from_db()
    assert report.lens == other


def test_a_report_is_decided_on_by_itself(at_the_desk, lens):
    report = report_on(lens)
    page = reverse("review-report", args=[report.public_id])
    assert "Let it count again" not in text_of(at_the_desk.get(page))
    sent = {"act": "ask", "reason": "Which filter was on?", "version": report.version}
    assert "asked the author" in text_of(at_the_desk.post(page, sent, follow=True)).lower()


def test_an_interest_is_declared_and_keeps_one_from_deciding(at_the_desk, lens, conflict, moderator):
    mine = reverse("account-interests")
    at_the_desk.post(mine, {"lens": lens.slug})
    answer = at_the_desk.post(
        address(conflict), {"act": "accept", "reason": "x", "version": conflict.version}
    )
    assert (answer.status_code, "declared an interest" in text_of(answer)) == (403, True)
    at_the_desk.post(mine, {"end": Interest.objects.get().pk})
    assert "You have declared nothing" in text_of(at_the_desk.get(mine))


@pytest.mark.parametrize("sent", [{}, {"lens": "nowhere"}, {"maker": "nobody"}])
def test_an_interest_in_nothing_is_refused(at_the_desk, sent):
    assert at_the_desk.post(reverse("account-interests"), sent).status_code in (200, 422)
    assert Interest.objects.count() == 0
