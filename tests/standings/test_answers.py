"""The answer about one lens: the worst tested zone first, what nobody tested, what else was seen."""

import pytest

from registry.errors import InvalidInput
from registry.standings.queries import findings_of, lens_answer, list_lenses
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory, MountFactory
from tests.report_factories import FindingFactory, ReadingFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def zoom():
    return LensFactory(zoom=True)


def grades_from(widest: float, limit: float) -> dict[float, int]:
    return {stop: 0 if stop <= limit else 3 for stop in (2.8, 4, 5.6, 8, 11, 16) if stop >= widest}


def test_the_sentence_takes_the_worst_tested_zone_and_names_the_untested(zoom):
    for focal, limit in ((24, 11), (70, 5.6)):
        for _ in range(3):
            report_on(zoom, focal_mm=focal, grades=grades_from(4, limit))
    refresh_lens(zoom)
    answer = lens_answer(zoom, cut_on_nm=720)
    assert answer.sentence.startswith("clean to f/5.6 at 66–70 mm, its worst tested zone")
    assert "nobody tested 33–66 mm" in answer.sentence
    assert answer.worst.words == "clean to f/5.6"
    assert [zone.tested for zone in answer.zones] == [True, False, False, True]


def test_an_untested_zone_shows_its_stops_and_claims_no_chance(zoom):
    answer = lens_answer(zoom, cut_on_nm=720)
    assert answer.sentence == "no reports"
    assert {stop.p_clean for stop in answer.zones[0].stops} == {None}
    assert [stop.f_number for stop in answer.zones[0].stops] == [2.8, 4, 5.6, 8, 11, 16, 22]


def test_each_cut_on_has_its_own_answer():
    lens = LensFactory(widest_f=2)
    for cut_on, limit in ((590, 11), (720, 5.6), (830, 2.8)):
        for _ in range(3):
            report_on(lens, cut_on_nm=cut_on, limit=limit)
    refresh_lens(lens)
    limits = [lens_answer(lens, cut_on_nm=nm).worst.f_number for nm in (590, 720, 830)]
    assert limits == sorted(set(limits), reverse=True)
    assert [band.group for band in lens_answer(lens, cut_on_nm=720).others] == ["780-up", "under-640"]


def test_claims_that_state_no_cut_on_are_not_silently_taken_for_mine():
    lens = LensFactory()
    relay_on(lens, cut_on_nm=None)
    refresh_lens(lens)
    sentence = lens_answer(lens, cut_on_nm=720).sentence
    assert sentence == "no reports at this cut-on; where none is stated: one report so far: clean to f/8"
    assert list_lenses(cut_on_nm=720)[0].sentence == sentence


def test_a_tint_without_brightness_is_named():
    lens = LensFactory(widest_f=2)
    for _ in range(3):
        report = report_on(lens, basis="measured", grades={2: 0})
        for f_number, tint in ((4, 0.01), (8, 0.12), (16, 0.2)):
            ReadingFactory(
                sweep=report.sweeps.get(),
                f_number=f_number,
                grade=None,
                excess_ev=0.03,
                excess_se=0.01,
                tint_rg=tint,
                tint_bg=-0.02,
            )
    refresh_lens(lens)
    answer = lens_answer(lens, cut_on_nm=720)
    assert answer.worst.tinted_from == 8
    assert "tinted from f/8" in answer.sentence


def test_other_traits_are_told_as_the_median_of_testers():
    lens = LensFactory()
    eager = AccountFactory()
    for author, grade in ((eager, 4), (eager, 4), (eager, 4), (AccountFactory(), 1), (AccountFactory(), 2)):
        FindingFactory(report=report_on(lens, author=author), kind="flare", grade=grade)
    FindingFactory(report=report_on(lens, state="withdrawn"), kind="flare", grade=0)
    (summary,) = findings_of(lens)
    assert (summary.kind, summary.median, summary.count, summary.low, summary.high) == ("flare", 2, 3, 1, 4)


def test_figures_of_agreement_count_a_tester_once():
    lens = LensFactory(widest_f=2)
    eager = AccountFactory()
    for _ in range(5):
        report_on(lens, author=eager, limit=4)
    for _ in range(2):
        report_on(lens, limit=8)
    refresh_lens(lens)
    shares = {
        share["f_number"]: share for share in lens_answer(lens, cut_on_nm=720).worst.agreement["shares"]
    }
    assert (shares[8]["clean"], shares[8]["n"]) == (2, 3)


@pytest.mark.parametrize("reader", [{"cut_on_nm": 1200}, {"cut_on_nm": float("nan")}, {"visible_ev": 0.5}])
def test_readers_that_cannot_be_are_refused(reader):
    with pytest.raises(InvalidInput):
        lens_answer(LensFactory(), **reader)


def test_a_list_is_made_as_far_as_it_is_looked_at(django_assert_num_queries):
    for number in range(30):
        LensFactory(slug=f"lens-{number:02}", mounts=[MountFactory()])
    found = list_lenses(mount="teal")
    with django_assert_num_queries(1):
        assert len(found) == 30
    with django_assert_num_queries(3):
        assert [row.lens.slug for row in found[10:12]] == ["lens-10", "lens-11"]
