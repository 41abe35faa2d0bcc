"""Standings follow the evidence, and only the evidence."""

import pytest

from registry.ledger.models import Event
from registry.reports.models import ReportState
from registry.standings.models import Standing, StandingChange
from registry.standings.queries import gather_evidence, lens_answer
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory, TeleconverterFactory
from tests.report_factories import CopyFactory, ReportFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(narrowest_f=16, widest_f=2)


def standing_of(lens) -> Standing:
    return Standing.objects.get(lens=lens)


def digits(lens) -> list:
    return list(
        lens.standings.order_by("cut_on_group", "focal_zone").values("verdict", "words", "stops", "limit")
    )


def test_five_agreeing_reports_make_a_firm_standing(lens):
    for _ in range(5):
        report_on(lens, limit=8)
    refresh_lens(lens)
    standing = standing_of(lens)
    assert (standing.words, standing.confidence) == ("clean to f/8", "firm")
    assert standing.n_independent == 5
    assert standing.leads


def test_twenty_reports_by_one_person_count_as_one(lens):
    author = AccountFactory()
    for _ in range(20):
        report_on(lens, author=author)
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 1
    assert standing_of(lens).words == "one report so far: clean to f/8"


def test_one_person_with_twenty_wrong_reports_moves_a_standing_no_more_than_with_one():
    def stops_against_three_honest(wrong: int) -> list[dict]:
        lens = LensFactory(widest_f=2, narrowest_f=16, focal_min_mm=35, focal_max_mm=35)
        for _ in range(3):
            report_on(lens, limit=8)
        someone = AccountFactory()
        for _ in range(wrong):
            report_on(lens, limit=2, author=someone)
        refresh_lens(lens)
        return lens.standings.get(n_reports__gt=0).stops

    assert stops_against_three_honest(20) == stops_against_three_honest(1)


def test_refreshing_again_without_news_writes_nothing(lens):
    report_on(lens)
    assert refresh_lens(lens).written == 1
    assert refresh_lens(lens).written == 0
    assert StandingChange.objects.count() == 1
    assert Event.objects.filter(name="standing.changed").count() == 1


def test_drafts_withdrawn_and_set_aside_reports_do_not_count(lens):
    for state in (ReportState.DRAFT, ReportState.WITHDRAWN, ReportState.SET_ASIDE):
        report_on(lens, state=state)
    assert gather_evidence(lens) == []
    assert refresh_lens(lens).written == 0


def test_setting_a_report_aside_and_back_restores_every_digit(lens):
    for limit in (8, 8, 5.6):
        odd = report_on(lens, limit=limit)
    refresh_lens(lens)
    before = digits(lens)
    odd.state = ReportState.SET_ASIDE
    odd.save()
    refresh_lens(lens)
    assert digits(lens) != before
    odd.state = ReportState.SUBMITTED
    odd.save()
    refresh_lens(lens)
    assert digits(lens) == before


def test_a_lens_that_lost_its_last_report_has_no_standing_left_but_keeps_its_history(lens):
    report = report_on(lens)
    refresh_lens(lens)
    report.state = ReportState.WITHDRAWN
    report.save()
    refresh_lens(lens)
    assert standing_of(lens).verdict == "no-reports"
    assert lens_answer(lens, cut_on_nm=720).sentence == "no reports"
    assert [change.after for change in lens.standing_changes.order_by("id")] == [
        "one report so far: clean to f/8 (tentative)",
        "no reports",
    ]


def test_history_and_event_name_the_cause(lens):
    report_on(lens)
    refresh_lens(lens, cause_event=17, cause="report.submitted")
    change = StandingChange.objects.get()
    assert (change.cause_event, change.cause) == (17, "report.submitted")
    event = Event.objects.get(name="standing.changed")
    assert event.subject_id == lens.slug
    assert event.data["changes"][0]["before"] == "no reports"


def test_a_teleconverter_makes_a_standing_of_its_own(lens):
    converter = TeleconverterFactory()
    report_on(lens, teleconverter=converter, focal_mm=49, limit=4)
    refresh_lens(lens)
    assert lens_answer(lens, cut_on_nm=720).sentence == "no reports"
    behind = lens_answer(lens, cut_on_nm=720, teleconverter=converter)
    assert behind.sentence == "one report so far: clean to f/4"


def test_someone_who_relays_six_testers_adds_six_pieces_of_evidence(lens):
    relayer = AccountFactory()
    for number in range(6):
        relay_on(lens, author=relayer, tester=f"Tester {number}", url=f"https://page.example/{number}")
    report_on(lens, author=relayer)
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 7


def test_a_source_relayed_twice_is_one_piece_of_evidence(lens):
    relay_on(lens, url="https://www.dunes.example/infrared/?page=2#top", title="One")
    relay_on(lens, url="http://dunes.example/infrared?page=2", title="Another")
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 1


def test_a_discussion_is_as_many_voices_as_it_has_named_testers(lens):
    for number in range(6):
        relay_on(lens, tester=f"Tester {number}", url="https://dunes.example/thread/7")
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 6
    relay_on(lens, url="https://dunes.example/thread/7")
    relay_on(lens, tester="tester  3", url="https://dunes.example/thread/7")
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 6


def test_a_page_relayed_with_and_without_its_authors_name_is_one_voice(lens):
    relay_on(lens, tester="Hazel Marram", url="https://dunes.example/leaflet")
    relay_on(lens, url="https://dunes.example/leaflet")
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 1


def test_a_relay_of_a_contributor_is_that_contributor(lens):
    author = AccountFactory(name="Hazel Marram")
    report_on(lens, author=author)
    relay_on(lens, tester="hazel  marram", title="A club leaflet")
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 1


def test_two_people_testing_one_copy_count_once(lens):
    one, other = CopyFactory(lens=lens, serial_hash="abc"), CopyFactory(lens=lens, serial_hash="abc")
    third = CopyFactory(lens=lens, same_as=other)
    for copy in (one, other, third):
        report_on(lens, author=copy.holder, copy=copy)
    refresh_lens(lens)
    assert standing_of(lens).n_independent == 1


def test_measured_and_graded_readings_keep_their_kind(lens):
    report = ReportFactory(lens=lens, state="submitted", submitted_at="2024-07-01T00:00Z", grades={8: 0})
    reading = report.sweeps.get().readings.get()
    reading.excess_ev, reading.excess_se = 0.31, 0.02
    reading.save()
    (entry,) = gather_evidence(lens)
    assert (entry.readings[0].ev, entry.readings[0].ev_se, entry.readings[0].grade) == (0.31, 0.02, None)


def test_a_correction_that_makes_a_report_impossible_leaves_it_out_and_says_so(lens, caplog):
    for _ in range(2):
        report_on(lens)
    lens.widest_f = lens.widest_f_tele = 2.8
    lens.save()
    refresh_lens(lens)
    assert not Standing.objects.filter(lens=lens, n_reports__gt=0).exists()
    assert "wider than this lens opens" in caplog.text
