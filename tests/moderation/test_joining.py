"""Reports told twice: each pair raised once, and never again once moderators have kept it apart."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.errors import InvalidInput, NotAllowed
from registry.ledger.services import verify
from registry.moderation.queries.decisions import status_of
from registry.moderation.queries.joining import candidate_of, kept_apart, worth_joining
from registry.moderation.queries.start import things_waiting
from registry.moderation.services import decide, undo_decision
from registry.reports.models import Reading
from registry.standings.models import Standing
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import CopyFactory, ReadingFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db
PAGE = "https://saltmarsh.example/infrared"


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


def measure(report, excess_ev=0.1234):
    """Give a report measurements at four stops."""
    sweep = report.sweeps.first()
    sweep.readings.all().delete()
    for f_number in (2.8, 4, 5.6, 8):
        ReadingFactory(
            sweep=sweep, f_number=f_number, grade=None, excess_ev=excess_ev * f_number, excess_se=0.02
        )
    return report


@pytest.fixture
def clubs(lens):
    """The club's own copy, in two hands."""
    return [report_on(lens, copy=CopyFactory(lens=lens, label="the club’s")) for _ in range(2)]


def keep_apart(moderator, reports):
    return decide(by=moderator, act="keep-apart", reports=reports, reason="Two copies of one label.")


class TestRaisedOnce:
    def test_a_pair_alike_in_several_ways_stands_once_under_all_of_them(self, clubs):
        for report in clubs:
            measure(report)
        (found,) = worth_joining()
        assert found.act == "same-frames"
        assert "last digit" in found.why and "copies are called “the club’s”" in found.why

    def test_a_pair_within_a_larger_group_stands_with_it(self, lens, clubs):
        for report in clubs:
            measure(report)
        third = report_on(lens, copy=CopyFactory(lens=lens, label="the club’s"))
        (found,) = worth_joining()
        assert (found.act, set(found.reports)) == ("same-copy", {*clubs, third})

    def test_one_page_under_one_title_stands_once(self, lens):
        for tester in ("Ruff", "Reeve"):
            relay_on(lens, tester=tester, url=PAGE, title="Infrared")
        relay_on(lens, tester="Stint", url="https://dunes.example/infrared", title="Infrared")
        (found,) = worth_joining()
        assert len(found.reports) == 3 and "; one page" in found.why

    def test_measurements_that_only_sum_up_alike_are_not_alike(self, lens):
        _, other = measure(report_on(lens)), measure(report_on(lens))
        readings = list(Reading.objects.filter(sweep__report=other).order_by("f_number"))
        for reading, shift in zip(readings[:2], (0.01, -0.01), strict=True):
            Reading.objects.filter(pk=reading.pk).update(excess_ev=reading.excess_ev + shift)
        assert worth_joining() == []

    def test_it_waits_on_the_desk_since_the_last_of_them_came_in(self, clubs):
        (thing,) = things_waiting("alike")
        assert thing.since == max(report.submitted_at for report in clubs)
        assert str(clubs[0].lens) in thing.words and "called “the club’s”" in thing.words

    def test_what_one_person_tells_twice_is_not_raised(self, lens):
        author = AccountFactory()
        for _ in range(2):
            measure(report_on(lens, author=author))
        assert worth_joining() == []

    def test_reports_that_are_like_no_other_are_not_read(self):
        def asked(count):
            for place in range(count):
                measure(report_on(LensFactory(widest_f=2)), excess_ev=0.1 + place / 100)
            with CaptureQueriesContext(connection) as queries:
                assert worth_joining() == []
            return len(queries)

        assert asked(2) == asked(10)


class TestKeptApart:
    def test_they_count_as_before_and_are_not_raised_again(self, moderator, lens, clubs):
        refresh_lens(lens)
        decision = keep_apart(moderator, clubs)
        refresh_lens(lens)
        assert Standing.objects.get(lens=lens).n_independent == 2
        assert worth_joining() == [] and kept_apart() == [decision]
        for report in clubs:
            measure(report)  # alike in another way: they were looked at
        assert worth_joining() == []

    def test_another_report_brings_what_is_new(self, moderator, lens, clubs):
        keep_apart(moderator, clubs)
        report_on(lens, copy=CopyFactory(lens=lens, label="the club’s"))
        assert [len(one.reports) for one in worth_joining()] == [3]

    def test_taken_back_they_wait_again_and_the_rows_stay(self, moderator, clubs):
        decision = keep_apart(moderator, clubs)
        undo_decision(decision=decision, by=moderator, reason="One lens after all.")
        assert status_of(type(decision).objects.get(pk=decision.pk)).code == "taken-back"
        (found,) = worth_joining()
        assert candidate_of(found.key) == found
        assert verify() == []

    def test_it_takes_two_reports_a_reason_and_no_part_in_them(self, moderator, lens, clubs):
        with pytest.raises(InvalidInput):
            keep_apart(moderator, clubs[:1])
        with pytest.raises(InvalidInput):
            decide(by=moderator, act="keep-apart", reports=clubs, reason=" ")
        with pytest.raises(NotAllowed):
            keep_apart(moderator, [report_on(lens, author=moderator), *clubs])

    def test_no_candidate_is_named_by_nonsense(self):
        for key in ("", "same-copy", "same-copy nobody", "a b c d"):
            assert candidate_of(key) is None
