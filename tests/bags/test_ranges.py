"""What stored and computed standings say of focal lengths and stops."""

import pytest

from registry.bags.ranges import clean_range, is_clean, zones_of_lenses
from registry.errors import InvalidInput
from registry.reports import services
from tests.bags.standings import standing
from tests.factories import LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
GRADES = {1.4: 0, 2: 0, 2.8: 0, 4: 0, 5.6: 0, 8: 3, 11: 4, 16: 4}


def test_the_clean_range_runs_from_the_widest_stop_to_the_limit():
    lens = LensFactory()
    standing(lens, 5.6)
    told = clean_range(lens, zones_of_lenses([lens], cut_on_nm=720)[lens.pk], 35)
    assert (told.widest_f, told.clean_to, told.stops, told.chance, told.confidence) == (
        1.4,
        5.6,
        4,
        0.9,
        "fair",
    )


def test_nothing_is_said_of_a_cut_on_that_nobody_tested():
    lens = LensFactory()
    standing(lens, 5.6)
    told = clean_range(lens, zones_of_lenses([lens], cut_on_nm=830)[lens.pk], 35)
    assert (told.tested, told.clean_to, told.stops) == (False, None, 0)
    assert is_clean(None, 8) is None


def test_a_third_stop_beyond_the_limit_is_beyond_it():
    lens = LensFactory()
    told = standing(lens, 5.6)
    assert [is_clean(told, f_number) for f_number in (5, 5.6, 6.3, 8)] == [True, True, False, False]


def test_nowhere_clean_is_past_the_range_at_every_stop():
    assert is_clean(standing(LensFactory(), None), 1.4) is False
    assert is_clean(standing(LensFactory(), None, verdict="no-safe-stop"), 1.4) is False


def test_a_prime_whose_reports_name_no_focal_length_is_told_by_them():
    lens = LensFactory()
    standing(lens, 8, zone="unstated")
    assert clean_range(lens, zones_of_lenses([lens], cut_on_nm=720)[lens.pk], 35).clean_to == 8


def test_another_tolerance_is_computed_for_all_lenses_at_once(drain, django_assert_max_num_queries):
    lenses = [LensFactory() for _ in range(4)]
    for lens in lenses:
        report = ReportFactory(lens=lens, grades=GRADES)
        services.submit_report(report=report, by=report.author)
    drain()
    stored = zones_of_lenses(lenses, cut_on_nm=720)
    zones_of_lenses(lenses, cut_on_nm=720, visible_ev=0.2)  # what is read once per process
    with django_assert_max_num_queries(20):
        patient = zones_of_lenses(lenses, cut_on_nm=720, visible_ev=0.3)
    for lens in lenses:
        near, far = (clean_range(lens, zones[lens.pk], 35) for zones in (stored, patient))
        assert near.tested and far.tested
        assert far.stops >= near.stops


def test_no_reader_sees_beyond_what_sensors_see():
    with pytest.raises(InvalidInput):
        zones_of_lenses([], cut_on_nm=3000)
