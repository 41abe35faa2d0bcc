"""A contributor's own summary, compared with what was measured in their frames. The threshold is the project's
convention (0.10 EV)."""

import pytest

from registry.errors import InvalidInput, NotAllowed
from registry.reports import services
from registry.reports.models import OwnSummary
from registry.reports.rules.summary import contradiction_problems, contradictions_of
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory

pytestmark = pytest.mark.django_db


def measured(readings, focal=24, report=None, se=0.02):
    """A draft with measured readings: f-number → excess in EV."""
    report = report or ReportFactory(lens=LensFactory(zoom=True))
    sweep = SweepFactory(report=report, focal_length_mm=focal)
    for f_number, excess_ev in readings.items():
        ReadingFactory(sweep=sweep, f_number=f_number, excess_ev=excess_ev, excess_se=se, grade=None)
    return report


TURNS_AT_11 = {2.8: 0.0, 4: 0.01, 5.6: 0.02, 8: 0.05, 11: 0.2, 16: 0.4}
NEVER_HOT = dict.fromkeys(TURNS_AT_11, 0.01)
ALWAYS_HOT = dict.fromkeys(TURNS_AT_11, 0.3)


def against(report, says, f_number=None):
    return contradictions_of(report, OwnSummary(report=report, says=says, f_number=f_number))


@pytest.mark.parametrize(
    ("says", "f_number"), [("clean_to", 8), ("hot_from", 11), ("clean_to", 5.6), ("no_opinion", None)]
)
def test_a_summary_that_the_measurement_allows_is_not_questioned(says, f_number):
    assert against(measured(TURNS_AT_11), says, f_number) == []


@pytest.mark.parametrize(
    ("says", "f_number", "named"),
    [
        ("clean_to", 11, "f/11 (24 mm)"),
        ("clean_to", 16, "f/11 (24 mm)"),
        ("clean_all", None, "f/11 (24 mm)"),
        ("hot_from", 16, "f/11 (24 mm)"),
        ("hot_all", None, "4 stops from f/2.8 to f/8"),
    ],
)
def test_a_contradiction_names_where_it_was_measured_otherwise(says, f_number, named):
    [found] = against(measured(TURNS_AT_11), says, f_number)
    assert named in found


def test_hot_where_nothing_was_measured_is_a_contradiction():
    assert against(measured(NEVER_HOT), "hot_from", 8) == [
        "At 3 stops from f/8 to f/16 no visible patch was measured."
    ]
    assert against(measured(NEVER_HOT), "clean_to", 8) == ["At f/11 and f/16 no visible patch was measured."]


def test_what_lies_near_the_threshold_contradicts_nothing():
    near = measured(dict.fromkeys(TURNS_AT_11, 0.1))
    for says, f_number in (("clean_all", None), ("hot_all", None), ("clean_to", 8), ("hot_from", 8)):
        assert against(near, says, f_number) == []


def test_the_worst_focal_length_of_a_zoom_decides():
    report = measured(NEVER_HOT)
    measured(TURNS_AT_11, focal=70, report=report)
    assert against(report, "clean_to", 8) == against(report, "hot_from", 11) == []
    assert "f/11 (70 mm)" in against(report, "clean_all")[0]


def test_grades_by_eye_are_ones_own_word_and_contradict_nothing():
    assert against(ReportFactory(grades={4: 0, 8: 4}), "clean_all") == []


def test_a_summary_is_kept_and_said_anew():
    report = measured(TURNS_AT_11)
    services.say_summary(report=report, by=report.author, says="clean_to", f_number="8")
    services.say_summary(report=report, by=report.author, says="hot_from", f_number=11)
    assert str(OwnSummary.objects.get(report=report)) == "hot from f/11"
    services.say_summary(report=report, by=report.author, says="")
    assert not OwnSummary.objects.exists()


@pytest.mark.parametrize(
    ("f_number", "code"),
    [("", "missing"), ("7.7", "f-number-not-marked"), ("1", "wider-than-the-lens-opens")],
)
def test_a_stop_that_the_lens_does_not_have_is_refused(f_number, code):
    report = measured(TURNS_AT_11)
    with pytest.raises(InvalidInput) as refused:
        services.say_summary(report=report, by=report.author, says="clean_to", f_number=f_number)
    assert refused.value.first.code == code


def test_a_contradicted_summary_keeps_the_report_back_until_it_is_stood_by():
    report = measured(TURNS_AT_11)
    services.say_summary(report=report, by=report.author, says="clean_all")
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=report, by=report.author)
    assert refused.value.first.code == "summary-contradicts-measurement"
    summary = services.stand_by_summary(report=report, by=report.author, answer="I see nothing in any print")
    assert (summary.answer, len(summary.contradicts)) == ("I see nothing in any print", 1)
    assert services.submit_report(report=report, by=report.author).state == "submitted"


def test_standing_by_it_does_not_cover_what_is_measured_afterwards():
    report = measured(TURNS_AT_11)
    services.say_summary(report=report, by=report.author, says="clean_all")
    services.stand_by_summary(report=report, by=report.author)
    assert contradiction_problems(report) == []
    measured(ALWAYS_HOT, focal=70, report=report)
    assert contradiction_problems(report)


def test_a_changed_summary_is_to_be_stood_by_anew():
    report = measured(TURNS_AT_11)
    services.say_summary(report=report, by=report.author, says="clean_all")
    services.stand_by_summary(report=report, by=report.author, answer="sure")
    changed = services.say_summary(report=report, by=report.author, says="hot_all")
    assert (changed.stands, changed.answer, changed.contradicts) == (False, "", [])


def test_nobody_says_it_for_someone_else():
    report = measured(TURNS_AT_11)
    with pytest.raises(NotAllowed):
        services.say_summary(report=report, by=AccountFactory(), says="clean_all")


def test_a_revision_keeps_what_was_said():
    report = measured(TURNS_AT_11)
    services.say_summary(report=report, by=report.author, says="clean_to", f_number=8)
    services.submit_report(report=report, by=report.author)
    services.revise_report(report=report, by=report.author, reason="a note", changes={"notes": "dusk"})
    assert report.revisions.get().content["own_summary"]["says"] == "clean_to"


def filed(author, lens, **own_summary):
    """A report filed by a program, with readings measured elsewhere."""
    readings = [{"f_number": f, "excess_ev": ev, "excess_se": 0.02} for f, ev in TURNS_AT_11.items()]
    data = {
        "lens": lens,
        "basis": "graded",
        "cut_on_nm": 720,
        "shot_on": "2024-06-21",
        "sweeps": [{"focal_length_mm": 24, "readings": readings}],
        "own_summary": own_summary or None,
    }
    return services.file_report(author=author, data=data, submit=True)


def test_a_program_says_it_with_the_report():
    author, lens = AccountFactory(), LensFactory(zoom=True)
    assert filed(author, lens, says="clean_to", f_number=8).own_summary.says == "clean_to"
    with pytest.raises(InvalidInput) as refused:
        filed(author, lens, says="clean_all")
    assert refused.value.first.code == "summary-contradicts-measurement"
    stood = filed(author, lens, says="clean_all", stands=True, answer="no print shows it").own_summary
    assert stood.contradicts and stood.answer == "no print shows it"
    assert not OwnSummary.objects.filter(report=filed(author, lens)).exists()


@pytest.mark.parametrize(
    ("own_summary", "field"),
    [
        ({"says": "spotless"}, "own_summary.says"),
        ({"says": "clean_to"}, "own_summary.f_number"),
        ({"says": "clean_all", "stands": "yes"}, "own_summary.stands"),
        ({"says": "clean_all", "sure": True}, "own_summary.sure"),
    ],
)
def test_what_is_wrong_in_it_is_told_at_its_path(own_summary, field):
    with pytest.raises(InvalidInput) as refused:
        filed(AccountFactory(), LensFactory(zoom=True), **own_summary)
    assert field in [problem.field for problem in refused.value.problems]
