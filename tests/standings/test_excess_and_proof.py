"""What the lens page shows of the reports themselves: their measured excess, and frames where a verdict turns."""

import pytest

from registry.consensus.assessment import StopChance
from registry.ledger.worker import drain_tasks
from registry.reports import services
from registry.reports.models import ImageState, SampleImage
from registry.reports.queries import reports_on
from registry.standings.queries import excess_of, lens_answer, open_conflicts, proof_of_verdicts
from registry.standings.queries.answers import ZoneAnswer
from registry.standings.queries.proof import turning_stops
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReadingFactory, ReportFactory, RigFactory, SweepFactory

pytestmark = pytest.mark.django_db
STOPS = (2.8, 4, 5.6, 8, 11, 16)


@pytest.fixture
def lens():
    return LensFactory()


def measured(lens, excess=(0.01, 0.01, 0.02, 0.04, 0.2, 0.4), frames=False, **fields):
    report = ReportFactory(lens=lens, **fields)
    sweep = SweepFactory(report=report, focal_length_mm=35)
    for place, (stop, excess_ev) in enumerate(zip(STOPS, excess, strict=True)):
        ReadingFactory(sweep=sweep, f_number=stop, grade=None, excess_ev=excess_ev, excess_se=0.01)
        if frames:
            SampleImage.objects.create(
                owner=report.author, report=report, state=ImageState.MEASURED, file_name="a.jpg", byte_size=1,
                content_hash=f"{report.pk}-{place}", picture=f"frames/{place}.jpg", f_number=stop,
                focal_length_mm=35,
            )  # fmt: skip
    services.submit_report(report=report, by=report.author)
    drain_tasks()
    return report


def told(lens):
    answer = lens_answer(lens, cut_on_nm=720)
    return answer, list(reports_on(lens).prefetch_related("sweeps__readings", "claims"))


def test_each_reports_points_are_told_by_themselves_widest_first(lens):
    first, second = measured(lens), measured(lens, (0.02, 0.03, 0.04, 0.06, 0.3, 0.5))
    (zone,) = excess_of(*told(lens))
    assert {sweep.report for sweep in zone.sweeps} == {first.public_id, second.public_id}
    assert zone.f_numbers == list(STOPS)
    assert [point.ev for point in zone.sweeps[-1].points] == [0.01, 0.01, 0.02, 0.04, 0.2, 0.4]


def test_what_they_pool_to_lies_between_them(lens):
    measured(lens), measured(lens, (0.02, 0.03, 0.04, 0.06, 0.3, 0.5))
    (zone,) = excess_of(*told(lens))
    at_11 = next(stop for stop in zone.pooled if stop.f_number == 11)
    assert 0.2 < at_11.ev < 0.3 and at_11.testers == 2


def test_reports_at_another_wavelength_or_set_aside_are_not_drawn(lens):
    measured(lens, rig=RigFactory(cut_on_nm=830))
    aside = measured(lens)
    services.set_aside(report=aside, by=AccountFactory(moderator=True), reason="a scene")
    drain_tasks()
    assert excess_of(*told(lens)) == []


def test_frames_are_shown_at_the_last_clean_stop_and_the_next_of_one_report(lens):
    for _ in range(3):
        measured(lens, frames=True)
    (proof,) = proof_of_verdicts(*told(lens))
    assert [frame.says for frame in proof.frames] == ["f/8, the last clean stop", "f/11, the next stop"]
    assert len({frame.report for frame in proof.frames}) == 1


def test_where_reports_differ_a_frame_of_each_side_is_shown_at_the_stop_in_doubt(lens):
    hot, clean = (0.01, 0.02, 0.3, 0.5, 0.8, 1.0), (0.01, 0.01, 0.02, 0.03, 0.03, 0.04)
    sooner = {measured(lens, hot, frames=True).public_id for _ in range(5)}
    later = {measured(lens, clean, frames=True).public_id for _ in range(5)}
    answer, reports = told(lens)
    assert answer.worst.verdict == "reports-differ"
    (proof,) = proof_of_verdicts(answer, reports, open_conflicts(lens))
    assert [frame.says.partition(", ")[2] for frame in proof.frames] == ["hot sooner", "hot later"]
    assert len({frame.image.f_number for frame in proof.frames}) == 1
    assert proof.frames[0].report.public_id in sooner and proof.frames[1].report.public_id in later


def test_a_lens_without_frames_has_no_proof(lens):
    measured(lens)
    assert proof_of_verdicts(*told(lens)) == []


def zone_with(verdict, f_number=None, says=None):
    stops = tuple(StopChance(stop, 0.5, 0.4, 0.6, tested=True) for stop in STOPS)
    return ZoneAnswer(
        zone="33-47", label="35 mm", tested=True, verdict=verdict, words="", f_number=f_number, confidence="",
        n_reports=1, n_independent=1, stops=stops, limit={}, causes=[], suspects=[], agreement={},
        detail={"says": says}, expected_information=0.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    "verdict, f_number, says, stops",
    [
        ("clean-to", 8, None, [8, 11]),
        ("clean-to", 16, None, [16]),
        ("clean-throughout", None, None, [16]),
        ("never-clean", None, None, [2.8]),
        ("reports-differ", None, None, [16]),
        ("one-report", None, {"code": "clean-to", "f_number": 5.6}, [5.6, 8]),
        ("one-report", None, {"code": "hot-from", "f_number": 11}, [11]),
        ("no-reports", None, None, []),
    ],
)
def test_where_a_verdict_turns(verdict, f_number, says, stops):
    assert [stop for stop, _ in turning_stops(zone_with(verdict, f_number, says))] == stops
