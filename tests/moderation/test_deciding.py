"""Decisions take effect, are foreseen to the digit, and can each be taken back."""

import pytest
from django.db import DatabaseError, connection, transaction

from registry.errors import Conflict as Refused
from registry.errors import InvalidInput, NotAllowed
from registry.ledger.models import Event
from registry.ledger.services import verify
from registry.moderation.models import Decision
from registry.moderation.queries.decisions import status_of, waiting_for_a_second
from registry.moderation.services import answer_proposal, decide, undo_decision
from registry.reports.models import ReportState
from registry.standings.by_condition import ByCondition
from registry.standings.models import Conflict, Standing
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, FilterFactory, LensFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db
DIGITS = (
    "verdict",
    "f_number",
    "words",
    "confidence",
    "n_reports",
    "n_independent",
    "stops",
    "limit",
    "detail",
)


def said(lens):
    """Everything that a lens's standings say, to the last digit."""
    return {
        (row.cut_on_group, row.focal_zone): {name: getattr(row, name) for name in (*DIGITS, "fingerprint")}
        for row in Standing.objects.filter(lens=lens, n_reports__gt=0)
    }


def status(decision):
    return status_of(Decision.objects.get(pk=decision.pk)).code


def propose_aside(moderator, conflict, reports):
    """To set reports aside that the verdict hangs on: it waits for a second moderator."""
    return decide(
        by=moderator,
        act="set-aside",
        conflict=conflict,
        reports=reports,
        reason="A scene.",
        reason_code="not-a-target",
    )


def test_a_report_that_changes_nothing_is_set_aside_at_once_and_restored(lens, moderator):
    reports = [report_on(lens, limit=8) for _ in range(6)]
    refresh_lens(lens)
    before = said(lens)
    decision = decide(
        by=moderator,
        act="set-aside",
        reports=reports[:1],
        reason="Lamp in the picture.",
        reason_code="other-light",
    )
    refresh_lens(lens)
    reports[0].refresh_from_db()
    assert (reports[0].state, reports[0].state_reason) == (ReportState.SET_ASIDE, "Lamp in the picture.")
    assert Standing.objects.get(lens=lens).n_independent == 5
    undo_decision(decision=decision, by=moderator, reason="It was the target after all.")
    refresh_lens(lens)
    assert said(lens) == before
    assert status(decision) == "taken-back"


def test_setting_aside_what_a_verdict_hangs_on_waits_for_a_second_moderator(
    lens, divided, conflict, moderator, second
):
    decision = propose_aside(moderator, conflict, divided[3:])
    divided[3].refresh_from_db()
    assert divided[3].state == ReportState.SUBMITTED
    assert list(waiting_for_a_second()) == [decision]
    with pytest.raises(NotAllowed) as refused:
        answer_proposal(decision=decision, by=moderator, agree=True, reason="I agree with myself.")
    assert refused.value.first.code == "own-proposal"
    answer_proposal(decision=decision, by=second, agree=True, reason="Plainly a scene.")
    divided[3].refresh_from_db()
    assert (divided[3].state, status(decision)) == (ReportState.SET_ASIDE, "in-force")
    with pytest.raises(Refused):
        answer_proposal(decision=decision, by=AccountFactory(moderator=True), agree=False, reason="No.")


def test_a_declined_proposal_changes_nothing(divided, conflict, moderator, second):
    decision = propose_aside(moderator, conflict, divided[3:])
    answer_proposal(decision=decision, by=second, agree=False, reason="It is a target.")
    divided[3].refresh_from_db()
    assert (divided[3].state, status(decision)) == (ReportState.SUBMITTED, "declined")


@pytest.mark.parametrize("kind", ["same-copy", "same-source", "same-frames"])
def test_reports_marked_the_same_count_as_one_voice_until_that_is_taken_back(
    lens, divided, conflict, moderator, kind
):
    before = said(lens)
    decision = decide(
        by=moderator, act=kind, conflict=conflict, reports=divided[3:], reason="One and the same."
    )
    refresh_lens(lens)
    assert Standing.objects.get(lens=lens).n_independent == 4
    undo_decision(decision=decision, by=moderator, reason="Two, after all.")
    refresh_lens(lens)
    assert said(lens) == before


def test_what_was_expected_is_what_comes(lens, divided, conflict, moderator):
    decision = decide(
        by=moderator, act="same-copy", conflict=conflict, reports=divided[3:], reason="One copy."
    )
    refresh_lens(lens)
    (expected,) = decision.details["expected"]
    row = Standing.objects.get(lens=lens)
    assert expected["after"] == (f"{row.words} ({row.confidence})" if row.confidence else row.words)


def test_a_split_states_what_holds_on_either_side_and_is_taken_back(lens, moderator):
    for _ in range(6):
        report_on(lens, limit=11, filter_position="front")
        report_on(lens, limit=4, filter_position="rear")
    refresh_lens(lens)
    before = said(lens)
    conflict = open_conflicts(lens).get()
    sides = ("with the filter in front of the lens", "with the filter behind the lens")
    decision = decide(
        by=moderator, act="split", conflict=conflict, reason="It plainly does.",
        condition=ByCondition("filter_position", "front", sides),
    )  # fmt: skip
    refresh_lens(lens)
    row = Standing.objects.get(lens=lens)
    assert row.words == f"clean to f/11 {sides[0]}; clean to f/4 {sides[1]}"
    assert (row.verdict, row.f_number, row.n_independent) == ("clean-to", 4, 12)
    assert row.sentence == row.words
    assert not open_conflicts(lens).exists()
    undo_decision(decision=decision, by=moderator, reason="Both were one batch.")
    refresh_lens(lens)
    assert said(lens) == before


def test_what_is_accepted_as_unexplained_closes_and_opens_again_when_taken_back(lens, conflict, moderator):
    decision = decide(by=moderator, act="accept", conflict=conflict, reason="Nothing tells them apart.")
    conflict.refresh_from_db()
    assert (conflict.open, conflict.close_reason) == (False, "accepted as unexplained copy variation")
    Standing.objects.update(fingerprint="")
    refresh_lens(lens)
    assert not open_conflicts(lens).exists()
    undo_decision(decision=decision, by=moderator, reason="One more look.")
    assert open_conflicts(lens).get() == conflict


def test_gear_is_corrected_once_the_author_consents_and_put_back_when_taken_back(lens, moderator):
    other = LensFactory(widest_f=2)
    reports = [report_on(lens, limit=limit) for limit in (11, 11, 11, 11, 2.8)]
    refresh_lens(lens)
    before = said(lens)
    mixed_up = reports[4]
    decision = decide(
        by=moderator,
        act="correct-gear",
        reports=[mixed_up],
        changes={"lens": other.slug},
        reason="The EXIF says so.",
    )
    assert status(decision) == "waiting"
    answer_proposal(decision=decision, by=mixed_up.author, agree=True, reason="Oh yes.")
    refresh_lens(lens)
    refresh_lens(other)
    mixed_up.refresh_from_db()
    assert (mixed_up.lens, mixed_up.revision) == (other, 2)
    assert Standing.objects.get(lens=other).n_reports == 1
    undo_decision(decision=decision, by=moderator, reason="It was this one.")
    refresh_lens(lens)
    assert said(lens) == before


def test_a_filter_is_corrected_by_a_second_moderator(lens, moderator, second):
    report = report_on(lens, filter=FilterFactory(), filter_position="rear")
    decision = decide(
        by=moderator,
        act="correct-gear",
        reports=[report],
        changes={"filter_position": "front"},
        reason="Seen in the picture.",
    )
    answer_proposal(decision=decision, by=second, agree=True, reason="So it is.")
    report.refresh_from_db()
    assert report.filter_position == "front"


def test_a_question_has_a_day_and_reaches_the_author(divided, conflict, moderator):
    decision = decide(
        by=moderator, act="ask", conflict=conflict, reports=divided[3:4], reason="Which filter was on?"
    )
    event = Event.objects.get(name="report.questioned")
    assert (event.subject_id, event.data["reason"]) == (divided[3].public_id, "Which filter was on?")
    assert event.data["due"] == decision.details["due"]


def test_who_saw_an_older_state_is_refused(divided, conflict, moderator, second):
    seen = conflict.version
    decide(
        by=moderator,
        act="ask",
        conflict=conflict,
        reports=divided[:1],
        reason="Which?",
        expected_version=seen,
    )
    with pytest.raises(Refused) as refused:
        decide(by=second, act="accept", conflict=conflict, reason="Let it be.", expected_version=seen)
    assert refused.value.first.code == "changed-meanwhile"
    assert Decision.objects.count() == 1


def test_nobody_decides_on_their_own_report_nor_where_they_have_one(lens, divided, conflict):
    judge = AccountFactory(moderator=True)
    report_on(lens, limit=11, author=judge)
    refresh_lens(lens)
    conflict.refresh_from_db()
    for acts in ({"act": "accept"}, {"act": "ask", "reports": divided[:1]}):
        with pytest.raises(NotAllowed) as refused:
            decide(by=judge, conflict=conflict, reason="Mine is right.", **acts)
        assert refused.value.first.code == "own-report"


def test_a_contributor_decides_nothing(conflict, divided):
    with pytest.raises(NotAllowed):
        decide(by=divided[0].author, act="accept", conflict=conflict, reason="Let it be.")


def test_a_second_factor_is_asked_for_where_the_installation_does(conflict, moderator, settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = True
    with pytest.raises(NotAllowed) as refused:
        decide(by=moderator, act="accept", conflict=conflict, reason="Let it be.")
    assert refused.value.first.code == "second-factor-first"
    from allauth.mfa.models import Authenticator

    Authenticator.objects.create(user=moderator, type=Authenticator.Type.TOTP, data={"secret": "x"})
    assert decide(by=moderator, act="accept", conflict=conflict, reason="Let it be.")


@pytest.mark.parametrize(
    "wrong",
    [
        {"act": "forgive"},
        {"act": "accept", "reason": " "},
        {"act": "accept", "reason": "x" * 301},
        {"act": "set-aside", "reason_code": "whim"},
        {"act": "set-aside", "reports": []},
        {"act": "same-copy", "one": True},
        {"act": "split"},
    ],
)
def test_what_is_not_a_decision_is_refused_with_its_field(conflict, divided, moderator, wrong):
    sent = {"reason": "Because.", "reports": divided[:2]} | wrong
    if sent.pop("one", False):
        sent["reports"] = divided[:1]
    with pytest.raises(InvalidInput) as refused:
        decide(by=moderator, conflict=conflict, **sent)
    assert refused.value.first.field


def test_a_decision_is_taken_back_once(conflict, moderator, second):
    decision = decide(by=moderator, act="accept", conflict=conflict, reason="Let it be.")
    undo_decision(decision=decision, by=second, reason="No.")
    with pytest.raises(Refused) as refused:
        undo_decision(decision=decision, by=moderator, reason="No.")
    assert refused.value.first.code == "not-in-force"


def test_taking_back_a_restoring_that_a_verdict_hangs_on_waits_too(
    lens, divided, conflict, moderator, second
):
    aside = propose_aside(moderator, conflict, divided[3:])
    answer_proposal(decision=aside, by=second, agree=True, reason="Yes.")
    refresh_lens(lens)
    restored = decide(by=second, act="restore", reports=divided[3:], reason="Targets after all.")
    refresh_lens(lens)
    undo = undo_decision(decision=restored, by=moderator, reason="Scenes.")
    assert (undo.proposed, status(restored)) == (True, "in-force")
    answer_proposal(decision=undo, by=second, agree=True, reason="All right.")
    divided[3].refresh_from_db()
    assert (divided[3].state, divided[3].state_reason) == (ReportState.SET_ASIDE, "A scene.")


@pytest.mark.parametrize(
    "act", ["UPDATE moderation_decision SET reason = 'x'", "DELETE FROM moderation_decisionreport"]
)
def test_the_database_refuses_to_change_a_decision(divided, conflict, moderator, act):
    decide(by=moderator, act="ask", conflict=conflict, reports=divided[:1], reason="Which?")
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(act)


def test_every_act_stands_in_the_event_log(conflict, moderator):
    decide(by=moderator, act="accept", conflict=conflict, reason="Let it be.")
    names = list(
        Event.objects.filter(subject_kind__in=("conflict", "decision")).values_list("name", flat=True)
    )
    assert names == ["conflict.opened", "conflict.closed", "decision.made"]
    assert verify() == []
    assert Conflict.objects.get().version > 1
