"""The four figures over time, each against values worked out by hand."""

from datetime import timedelta
from unittest import mock

import pytest
from django.utils import timezone

from registry.moderation.models import DayFigures
from registry.moderation.queries.figures import figures_now, figures_over_time, reliability_now
from registry.moderation.services import answer_proposal, decide
from registry.moderation.services.figures import note_figures
from registry.standings.models import Conflict
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import divide, report_on

pytestmark = pytest.mark.django_db


def contested(*, opened_days_ago):
    lens = LensFactory(widest_f=2)
    reports = divide(lens)
    opened = timezone.now() - timedelta(days=opened_days_ago)
    Conflict.objects.filter(standing__lens=lens).update(opened_at=opened)
    return open_conflicts(lens).get(), reports


def days_ago(days, act):
    """What is done in there happens some days ago."""
    then = timezone.now() - timedelta(days=days)
    with mock.patch("django.utils.timezone.now", return_value=then):
        return act()


def join(conflict, reports, by):
    return decide(by=by, act="same-copy", conflict=conflict, reports=reports[3:], reason="One copy.")


def test_open_conflicts_are_counted_and_closed_ones_not(moderator):
    for _ in range(3):
        conflict, _ = contested(opened_days_ago=1)
    decide(by=moderator, act="accept", conflict=conflict, reason="Copies vary.")
    assert figures_now()["open_conflicts"] == 2


class TestDaysToDecide:
    """The median, by hand: of 2, 3 and 10 days it is 3."""

    def test_the_median_from_opening_to_the_first_decision(self, moderator):
        for opened, decided in ((12, 10), (13, 10), (20, 10)):
            conflict, reports = contested(opened_days_ago=opened)
            days_ago(decided, lambda c=conflict, r=reports: join(c, r, moderator))
        later = Conflict.objects.get(pk=conflict.pk)
        decide(by=moderator, act="accept", conflict=later, reason="Copies vary.")  # not the first on it
        assert figures_now()["median_days"] == pytest.approx(3, abs=0.01)

    def test_a_question_decides_nothing(self, moderator):
        conflict, reports = contested(opened_days_ago=5)
        decide(by=moderator, act="ask", conflict=conflict, reports=reports[3:], reason="A wall?")
        assert figures_now()["median_days"] is None

    def test_a_proposal_counts_from_when_it_was_agreed_to_and_a_declined_one_never(self, moderator, second):
        for agree, opened in ((True, 9), (False, 9)):
            conflict, reports = contested(opened_days_ago=opened)
            proposal = days_ago(
                8,
                lambda c=conflict, r=reports: decide(
                    by=moderator, act="set-aside", conflict=c, reports=r[3:], reason="A scene.",
                    reason_code="not-a-target",
                ),
            )  # fmt: skip
            assert proposal.proposed
            days_ago(
                3,
                lambda p=proposal, agree=agree: answer_proposal(
                    decision=p, by=second, agree=agree, reason="Seen."
                ),
            )
        assert figures_now()["median_days"] == pytest.approx(6, abs=0.01)

    def test_who_decided_first_long_ago_did_not_decide_lately(self, moderator):
        conflict, reports = contested(opened_days_ago=120)
        days_ago(110, lambda: join(conflict, reports, moderator))
        decide(
            by=moderator, act="accept", conflict=Conflict.objects.get(pk=conflict.pk), reason="Copies vary."
        )
        assert figures_now()["median_days"] is None


def test_the_share_of_verdicts_on_three_voices_or_more():
    """Standings of 1, 2, 3 and 4 voices, and one person's five tests, which are one: 2 of 5."""
    for voices in (1, 2, 3, 4):
        lens = LensFactory(widest_f=2)
        for _ in range(voices):
            report_on(lens)
        refresh_lens(lens)
    alone, lens = AccountFactory(), LensFactory(widest_f=2)
    for _ in range(5):
        report_on(lens, author=alone)
    refresh_lens(lens)
    assert figures_now()["well_founded"] == pytest.approx(2 / 5)


def test_reliability_is_krippendorffs_ordinal_alpha_of_his_own_example():
    """His 4 observers × 12 units: .815 (Krippendorff 2011, "Computing Krippendorff's Alpha-Reliability", from memory;
    .815388 by package krippendorff 0.9). A unit is a lens at one stop, an observer a tester; his values 1 to 5 are
    grades 0 to 4."""
    observers = (
        (1, 2, 3, 3, 2, 1, 4, 1, 2, None, None, None),
        (1, 2, 3, 3, 2, 2, 4, 1, 2, 5, None, 3),
        (None, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, None),
        (1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, None),
    )
    testers = [AccountFactory() for _ in observers]
    for unit in zip(*observers, strict=True):
        lens = LensFactory(widest_f=2)
        for tester, value in zip(testers, unit, strict=True):
            if value is not None:
                ReportFactory(
                    lens=lens, author=tester, state="submitted", submitted_at=timezone.now(), grades={8: value - 1}
                )  # fmt: skip
    assert reliability_now() == pytest.approx(0.815388, abs=1e-6)


def test_they_are_noted_once_a_day_and_shown_week_by_week():
    today = timezone.now().date()
    for days in range(1, 30):
        DayFigures.objects.create(day=today - timedelta(days=days), open_conflicts=days)
    assert note_figures().pk == note_figures().pk
    assert [(today - row.day).days for row in figures_over_time()] == [0, 7, 14, 21, 28]
