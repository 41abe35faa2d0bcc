"""What each report says by itself, what camps say together, and what is still to come."""

import pytest

from registry.ledger.worker import drain_tasks
from registry.reports import services
from registry.standings.queries import (
    camps_in_words,
    lens_rows,
    paths_of,
    refresh_is_due,
    result_in_words,
    sayings_of,
)
from registry.standings.queries.evidence import counting_reports
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory, TeleconverterFactory
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory
from tests.standings.evidence import clean_up_to, relay_on, report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(widest_f=2, narrowest_f=16)


def said_by(report, **asked):
    loaded = counting_reports(report.lens)
    return result_in_words(report, sayings_of(loaded, **asked))


def test_a_sweep_says_how_far_it_is_clean(lens):
    assert said_by(report_on(lens, limit=5.6)) == "clean to f/5.6"
    assert said_by(report_on(lens, limit=1)) == "never clean"


def test_a_zooms_sweeps_are_told_by_focal_length_and_alike_ones_together():
    zoom = LensFactory(focal_min_mm=24, focal_max_mm=70, widest_f=2, widest_f_tele=2)
    report = report_on(zoom, limit=11, focal_mm=24)
    for focal in (50, 70):
        sweep = SweepFactory(report=report, focal_length_mm=focal)
        for f_number, grade in clean_up_to(5.6).items():
            ReadingFactory(sweep=sweep, f_number=f_number, grade=grade)
    assert said_by(report) == "clean to f/11 at 24 mm; clean to f/5.6 at 50 and 70 mm"


def test_a_single_frame_says_what_was_seen_rather_than_a_limit(lens):
    assert said_by(report_on(lens, grades={8: 2})) == "f/8 graded 2"


def test_a_single_measured_frame_says_its_excess(lens):
    report = report_on(lens, grades={8: 0}, basis="measured")
    report.sweeps.get().readings.update(excess_ev=-0.012, excess_se=0.02)
    assert said_by(report) == "f/8 −0.01 EV"


def test_a_claim_is_quoted(lens):
    assert said_by(relay_on(lens, limit=8)) == "clean to f/8"


def test_a_readers_tolerance_moves_what_a_measured_sweep_says(lens):
    report = report_on(lens, limit=8, basis="measured")
    for reading in report.sweeps.get().readings.all():
        reading.excess_ev, reading.excess_se = 0.03 * reading.av, 0.01
        reading.save()
    assert said_by(report, visible_ev=0.05) != said_by(report, visible_ev=0.3)


def camps(lens, *limits, **fields):
    told = [report_on(lens, limit=limit, **fields) for limit in limits]
    sayings = sayings_of(counting_reports(lens))
    entries = [
        {"entry": entry, "report": saying.report, "says": saying.words, "limit_av": number}
        for number, (entry, saying) in enumerate(sorted(sayings.items(), key=lambda one: _av(told, one)))
    ]
    return camps_in_words({"sooner": entries, "later": []}, sayings)


def _av(told, one):
    return next(number for number, report in enumerate(told) if report.public_id == one[1].report)


def test_a_camp_is_told_by_the_span_of_what_it_says(lens):
    (camp,) = camps(lens, 4, 4, 5.6)
    assert (camp.name, camp.testers, camp.words) == ("sooner", 3, "clean to f/4–f/5.6")


def test_a_camp_that_reaches_the_end_is_clean_or_further(lens):
    assert camps(lens, 11, 16)[0].words == "clean to f/11 or further"


def test_a_camp_of_mixed_words_names_each(lens):
    assert camps(lens, 1, 4)[0].words == "never clean or clean to f/4"


def test_one_tester_in_a_camp_counts_once(lens):
    assert camps(lens, 4, 4, author=AccountFactory())[0].testers == 1


def test_a_standing_is_due_from_submission_until_the_task_has_run(lens):
    report = ReportFactory(lens=lens, grades=clean_up_to(8))
    assert not refresh_is_due(report)
    services.submit_report(report=report, by=report.author)
    assert refresh_is_due(report)
    drain_tasks()
    assert not refresh_is_due(report)


def test_paths_are_told_at_the_readers_cut_on_or_at_whichever_there_is(lens):
    doubled = TeleconverterFactory(magnification=2)
    report_on(lens, limit=8)
    report_on(lens, limit=4, cut_on_nm=830, teleconverter=doubled, focal_mm=70)
    refresh_lens(lens)
    alone, behind = paths_of(lens, cut_on_nm=720)
    assert alone.is_bare and alone.band == ""
    assert behind.teleconverter == doubled and behind.band == "cut-on 780 nm and above"


def test_a_row_of_a_list_leaves_out_what_nobody_tested():
    zoom = LensFactory(focal_min_mm=24, focal_max_mm=105, widest_f=2, widest_f_tele=2)
    report_on(zoom, limit=8, focal_mm=50)
    refresh_lens(zoom)
    (row,) = lens_rows([zoom])
    assert row.brief == "one report so far: clean to f/8 at 47–66 mm"
    assert row.sentence == f"{row.brief}; nobody tested 24–47 mm and 66–105 mm"
