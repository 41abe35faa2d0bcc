"""Where independent evidence can't be reconciled, a conflict says so until it no longer can't."""

import pytest

from registry.reports.models import ReportState
from registry.standings.models import Conflict, Standing
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import LensFactory
from tests.standings.evidence import divide, report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(widest_f=2)


@pytest.fixture
def divided(lens):
    return divide(lens)


def test_two_camps_open_one_conflict_that_names_them(lens, divided):
    conflict = open_conflicts(lens).get(kind="reports-differ")
    assert conflict.standing.words == "reports differ"
    sides = {side: sorted(said["report"] for said in told) for side, told in conflict.camps.items()}
    assert sides == {
        "sooner": sorted(report.public_id for report in divided[3:]),
        "later": sorted(report.public_id for report in divided[:3]),
    }
    assert {said["says"] for said in conflict.camps["sooner"]} == {"clean to f/2.8"}


def test_an_open_conflict_is_brought_up_to_date_rather_than_opened_twice(lens, divided):
    report_on(lens, limit=2.8)
    refresh_lens(lens)
    conflict = Conflict.objects.get(kind="reports-differ")
    assert len(conflict.camps["sooner"]) == 3


def test_a_conflict_closes_by_itself_when_the_evidence_agrees_again(lens, divided):
    for report in divided[3:]:
        report.state = ReportState.SET_ASIDE
        report.save()
    refresh_lens(lens)
    conflict = Conflict.objects.get(kind="reports-differ")
    assert (conflict.open, conflict.close_reason) == (False, "the evidence no longer shows it")
    assert conflict.closed_at


def test_it_opens_again_when_the_split_returns(lens, divided):
    test_a_conflict_closes_by_itself_when_the_evidence_agrees_again(lens, divided)
    for report in divided[3:]:
        report.state = ReportState.SUBMITTED
        report.save()
    refresh_lens(lens)
    assert open_conflicts(lens).filter(kind="reports-differ").count() == 1


def test_what_a_moderator_settled_stays_settled_until_someone_joins_a_side(lens, divided):
    Conflict.objects.filter(open=True).update(
        open=False, close_reason="accepted as unexplained", closed_at="2024-08-01T00:00Z"
    )
    Standing.objects.update(fingerprint="")
    refresh_lens(lens)
    assert not open_conflicts(lens).filter(kind="reports-differ")
    report_on(lens, limit=2.8)
    refresh_lens(lens)
    assert open_conflicts(lens).filter(kind="reports-differ").count() == 1


def test_one_against_nine_is_shown_to_a_moderator_and_never_removed(lens):
    for _ in range(9):
        report_on(lens, limit=8)
    odd = report_on(lens, limit=2)
    refresh_lens(lens)
    standing = Standing.objects.get(lens=lens)
    assert (standing.words, standing.n_independent) == ("clean to f/8", 10)
    conflict = open_conflicts(lens).get(kind="suspect")
    assert [said["report"] for said in conflict.camps["suspect"]] == [odd.public_id]
    assert standing.suspects[0]["reports"] == [odd.public_id]
    assert standing.suspects[0]["p"] < 0.01


def test_bands_that_differ_by_their_cut_on_are_no_conflict(lens):
    for _ in range(6):
        report_on(lens, limit=11, cut_on_nm=700)
        report_on(lens, limit=4, cut_on_nm=830)
    refresh_lens(lens)
    assert not open_conflicts(lens).exists()


def test_a_filter_position_that_matters_across_bands_is_one_conflict(lens):
    for cut_on_nm, front, rear in ((700, 3, 1), (830, 1, 3)):
        for place in range(front + rear):
            position, limit = ("front", 11) if place < front else ("rear", 4)
            report_on(lens, limit=limit, cut_on_nm=cut_on_nm, filter_position=position)
    refresh_lens(lens)
    conflict = open_conflicts(lens).get()
    assert (conflict.kind, conflict.explanations[0]["factor"]) == ("cause", "filter_position")
    assert conflict.also_at == [["780-up", "33-47"]]


@pytest.mark.parametrize(("name", "values"), [("cut_on_nm", (650, 720, 830)), ("focal_mm", (24, 40, 70))])
def test_a_band_or_zone_that_fits_none_of_its_neighbours_is_a_conflict_until_it_does(name, values):
    lens = LensFactory(widest_f=2, focal_min_mm=24, focal_max_mm=70, widest_f_tele=2)
    odd = []
    for value, limit in zip(values, (11, 2.8, 11), strict=True):
        for _ in range(4):
            report = report_on(lens, limit=limit, **({"focal_mm": 40} | {name: value}))
            odd += [report] if limit == 2.8 else []
    refresh_lens(lens)
    conflict = open_conflicts(lens).get()
    assert conflict.kind == "between-cells" and conflict.stake > 0.5
    assert {said["report"] for said in conflict.camps["suspect"]} == {one.public_id for one in odd}
    refresh_lens(lens)
    assert Conflict.objects.count() == 1
    for report in odd:
        report.state = ReportState.SET_ASIDE
        report.save()
    refresh_lens(lens)
    assert not open_conflicts(lens).exists()


def test_a_likely_filter_position_is_offered_as_the_explanation(lens):
    for _ in range(6):
        report_on(lens, limit=11, filter_position="front")
        report_on(lens, limit=4, filter_position="rear")
    refresh_lens(lens)
    conflict = open_conflicts(lens).get(kind="reports-differ")
    assert conflict.explanations[0]["factor"] == "filter_position"
    assert conflict.explanations[0]["posterior"] > 0.7
    assert {said["filter_position"] for said in conflict.camps["sooner"]} == {"rear"}
