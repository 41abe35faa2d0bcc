"""F-numbers and focal lengths that people type are checked against the lens; EXIF's are taken."""

import pytest

from registry.errors import InvalidInput
from registry.reports import services
from registry.reports.rules import check_typed_f_number
from registry.reports.rules.stops import check_focal_length, distinct_stops, sweep_focal_length
from tests.factories import LensFactory, TeleconverterFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


def enter(draft, *readings, **named):
    return services.enter_readings(report=draft, by=draft.author, readings=list(readings), **named)


@pytest.mark.parametrize("mark", [1.4, 1.7, 2, 3.5, 3.6, 8, 13, 16])
def test_marks_of_full_half_and_third_stops_are_taken(mark):
    assert check_typed_f_number(LensFactory(), 35, mark) == mark


def test_a_value_on_no_scale_is_questioned_with_the_nearest_marks():
    with pytest.raises(InvalidInput) as refused:
        check_typed_f_number(LensFactory(), 35, 7.7)
    assert refused.value.first.remedy == "Did you mean f/7.1 or f/8?"


@pytest.mark.parametrize("own", [0.95, 1.9])
def test_a_lens_s_own_widest_value_is_no_question(own):
    assert check_typed_f_number(LensFactory(widest_f=own), 35, own) == own


def test_a_zoom_opens_less_at_its_long_end():
    zoom = LensFactory(zoom=True, widest_f=2.8, widest_f_tele=4.8)
    assert check_typed_f_number(zoom, 24, 2.8) == 2.8
    assert check_typed_f_number(zoom, 70, 4.8) == 4.8
    with pytest.raises(InvalidInput) as refused:
        check_typed_f_number(zoom, 70, 2.8)
    assert refused.value.first.code == "wider-than-the-lens-opens"


def test_a_zoom_between_its_ends_may_open_as_wide_as_its_wide_end():
    assert check_typed_f_number(LensFactory(zoom=True), 40, 2.8) == 2.8


def test_a_stop_wider_than_the_lens_opens_is_refused_with_the_lens_s_own():
    lens = LensFactory(widest_f=2)
    with pytest.raises(InvalidInput) as refused:
        check_typed_f_number(lens, 35, 1.4, field="readings[0].f_number")
    problem = refused.value.first
    assert (problem.field, problem.value) == ("readings[0].f_number", 1.4)
    assert "f/2" in problem.says
    assert problem.remedy


@pytest.mark.parametrize("nonsense", [0, -8, 0.5, 128, float("nan"), float("inf"), "eight", None])
def test_what_is_no_f_number_is_refused(nonsense):
    with pytest.raises(InvalidInput) as refused:
        check_typed_f_number(LensFactory(), 35, nonsense)
    assert refused.value.first.code == "f-number-out-of-range"


def test_two_markings_of_one_third_stop_are_one_stop():
    assert distinct_stops([3.5, 3.6, 8]) == 2
    draft = ReportFactory()
    with pytest.raises(InvalidInput) as refused:
        enter(draft, {"f_number": 3.5, "grade": 0}, {"f_number": 3.6, "grade": 1})
    assert (refused.value.first.code, refused.value.first.field) == ("stop-twice", "readings[1].f_number")


def test_readings_keep_the_mark_and_the_exact_aperture_value():
    sweep = enter(ReportFactory(), {"f_number": 3.5, "grade": 0}, {"f_number": 11, "grade": 2})
    assert [(r.f_number, round(r.av, 4)) for r in sweep.readings.all()] == [(3.5, 3.6667), (11, 7)]


def test_a_camera_s_value_is_taken_where_a_typed_one_is_questioned():
    draft = ReportFactory()
    with pytest.raises(InvalidInput):
        enter(draft, {"f_number": 7.7, "grade": 0})
    assert enter(draft, {"f_number": 7.7, "grade": 0}, typed=False).readings.get().f_number == 7.7


def test_readings_entered_again_replace_those_typed_before():
    draft = ReportFactory()
    enter(draft, {"f_number": 8, "grade": 1})
    enter(draft, {"f_number": 8, "grade": 2}, {"f_number": 11, "grade": 3})
    assert [(r.f_number, r.grade) for r in draft.sweeps.get().readings.all()] == [(8, 2), (11, 3)]


@pytest.mark.parametrize(
    ("reading", "field"),
    [
        ({"f_number": 8, "excess_ev": float("nan"), "excess_se": 0.02}, "excess_ev"),
        ({"f_number": 8, "excess_ev": float("inf"), "excess_se": 0.02}, "excess_ev"),
        ({"f_number": 8, "excess_ev": 0.1, "excess_se": -0.02}, "excess_se"),
        ({"f_number": 8, "excess_ev": 0.1}, "excess_se"),
        ({"f_number": 8, "grade": 5}, "grade"),
        ({"f_number": 8, "grade": 1.5}, "grade"),
        ({"f_number": 8, "grade": True}, "grade"),
        ({"f_number": 8}, "grade"),
        ({"grade": 2}, "f_number"),
        ({"f_number": 8, "grade": 1, "grad": 1}, "grad"),
    ],
)
def test_an_impossible_reading_is_refused_by_its_field(reading, field):
    draft = ReportFactory()
    with pytest.raises(InvalidInput) as refused:
        enter(draft, {"f_number": 4, "grade": 0}, reading)
    assert [problem.field for problem in refused.value.problems] == [f"readings[1].{field}"]
    assert refused.value.first.remedy
    assert not draft.sweeps.exists()


def test_a_focal_length_outside_the_lens_is_refused():
    with pytest.raises(InvalidInput) as refused:
        check_focal_length(LensFactory(zoom=True), 105)
    assert "24 to 70 mm" in refused.value.first.says


def test_a_teleconverter_lengthens_the_lens():
    converter = TeleconverterFactory(magnification=1.4)
    assert check_focal_length(LensFactory(zoom=True), 98, teleconverter=converter) == 98


def test_a_prime_s_readings_need_no_focal_length_and_a_zoom_s_do():
    assert enter(ReportFactory(), {"f_number": 8, "grade": 0}).focal_length_mm == 35
    with pytest.raises(InvalidInput) as refused:
        enter(ReportFactory(lens=LensFactory(zoom=True)), {"f_number": 8, "grade": 0})
    assert refused.value.first.field == "focal_length_mm"


@pytest.mark.parametrize(("stated", "filed"), [(None, 35), (35, 35), (34.6, 35), (52.5, 52.5)])
def test_a_prime_s_frames_are_filed_under_its_own_focal_length(stated, filed):
    assert sweep_focal_length(LensFactory(), stated) == filed
