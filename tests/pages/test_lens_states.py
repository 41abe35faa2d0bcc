"""Empty and edge states: each says what is known, why not more, and what to do next."""

import pytest
from django.urls import reverse

from registry.ledger.worker import drain_tasks
from registry.reports import services
from tests.factories import AccountFactory
from tests.report_factories import ClaimFactory, ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client, lens):
    def get(**asked):
        drain_tasks()
        return " ".join(client.get(reverse("lens", args=[lens.slug]), asked).content.decode().split())

    return get


def submit(report):
    return services.submit_report(report=report, by=report.author)


def graded(lens, **fields):
    return submit(ReportFactory(lens=lens, grades={4: 0, 5.6: 0, 8: 0, 11: 3}, **fields))


def relayed(lens, says="clean_to", f_number=8, **fields):
    report = ReportFactory(lens=lens, relayed=True, **fields)
    ClaimFactory(report=report, says=says, f_number=f_number, focal_length_mm=35)
    return submit(report)


def test_a_lens_nobody_has_reported_asks_for_a_test(page, lens):
    shown = page()
    assert "Nobody has reported this lens yet." in shown and "None yet." in shown
    assert reverse("shot-list", args=[lens.slug]) in shown


def test_one_report_is_called_one_persons_word(page, lens):
    graded(lens)
    shown = page()
    assert "one report so far: clean to f/8" in shown and "One person’s word" in shown


def test_relays_alone_are_said_to_be_relays(page, lens):
    for number in range(3):
        relayed(
            lens,
            tester_name=f"Reader {number}",
            cut_on_nm=720,
            citation_url=f"https://saltmarsh.example/{number}",
        )
    assert "Only published results that others passed on" in page()


def test_a_tested_lens_is_not_said_to_rest_on_relays(page, lens):
    graded(lens)
    relayed(lens, cut_on_nm=720)
    assert "Only published results" not in page()


def test_where_all_reports_were_set_aside_it_says_so(page, lens):
    report = graded(lens)
    services.set_aside(report=report, by=AccountFactory(moderator=True), reason="a scene")
    shown = page()
    assert "1 report on this lens was set aside and does not count" in shown
    assert "Set aside, does not count: a scene" in shown


def test_reports_set_aside_are_counted_beside_those_that_count(page, lens):
    graded(lens)
    services.set_aside(report=graded(lens), by=AccountFactory(moderator=True), reason="a scene")
    assert "1 report was set aside and does not count." in page()


def test_reports_that_state_no_cut_on_are_told_without_a_place(page, lens):
    relayed(lens, cut_on_nm=None)
    shown = page()
    assert "don’t state their cut-on wavelength" in shown
    assert "where none is stated: one report so far: clean to f/8" in shown
    assert "Cut-on not stated" in shown


def test_what_is_known_at_other_wavelengths_only_is_not_carried_over(page, lens):
    graded(lens)
    shown = page(cut_on_nm="830")
    assert "A hotspot often differs between wavelengths" in shown and "(yours)" in shown


def test_somebody_who_searched_and_found_nothing_is_counted_as_having_looked(page, lens):
    relayed(lens, says="nothing_found", f_number=None, cut_on_nm=720)
    assert "1 person searched for published results on this lens and found nothing" in page()


def test_a_split_names_both_sides_and_offers_other_lenses(page, lens):
    for hot_from in (2.8, 2.8, None, None):
        stops = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)
        grades = {stop: 3 if hot_from and stop >= hot_from else 0 for stop in stops}
        submit(ReportFactory(lens=lens, grades=grades))
    shown = page()
    assert "reports differ" in shown and "Where reports differ" in shown
    assert "Instead of this" in shown
