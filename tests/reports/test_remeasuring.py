"""A new version of the method measures the kept frames again; what was found before stays as history."""

import io
import json
from dataclasses import replace

import pytest
from django.core.management import CommandError, call_command

from registry.ledger.models import Event
from registry.photometry.measurement import METHOD_VERSION
from registry.reports import services, tasks
from registry.reports.models import Measurement, Reading, ReportState
from registry.reports.services.remeasuring import Measurers, remeasure, reports_to_remeasure
from registry.standings.models import StandingChange
from tests.report_factories import HOT_SCENE, ReportFactory, jpeg_upload, photographed

pytestmark = pytest.mark.django_db

NEXT = f"{METHOD_VERSION}-next"


def measured_report(drain, frame):
    draft = ReportFactory(basis="measured")
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame))
    drain()
    return services.submit_report(report=draft, by=draft.author)


@pytest.fixture
def measured_reports(drain):
    return [measured_report(drain, photographed(seed=seed)) for seed in (1, 2)]


@pytest.fixture
def next_method(monkeypatch):
    """A later version of the method, which finds a tenth of a stop more."""

    def measure(image, light):
        found = tasks.measure(image, light)
        return replace(found, ev=found.ev + 0.1, method_version=NEXT)

    for module in (
        "photometry.measurement",
        "reports.services.remeasuring",
        "standings.management.commands.remeasure",
    ):
        monkeypatch.setattr(f"registry.{module}.METHOD_VERSION", NEXT)
    monkeypatch.setattr("registry.standings.management.commands.remeasure.measure", measure)
    return Measurers(tasks.light_of, measure, tasks.measure_group)


def test_nothing_is_measured_again_under_the_same_version(measured_reports):
    assert not reports_to_remeasure().exists()


def test_every_report_is_measured_again_and_says_what_changed(measured_reports, next_method):
    before = {reading.image.report_id: reading.excess_ev for reading in Reading.objects.all()}
    done = list(remeasure(measurers=next_method))
    assert [one.report for one in done] == [report.public_id for report in measured_reports]
    for report, one in zip(measured_reports, done, strict=True):
        (change,) = one.changes
        assert change.before_ev == before[report.pk]
        assert change.after_ev == pytest.approx(change.before_ev + 0.1)
    assert {reading.method_version for reading in Reading.objects.all()} == {NEXT}


def test_old_results_stay_as_history(measured_reports, next_method):
    old = list(Measurement.objects.values_list("pk", "result"))
    list(remeasure(measurers=next_method))
    kept = dict(Measurement.objects.filter(method_version=METHOD_VERSION).values_list("pk", "result"))
    assert list(kept.items()) == old
    assert Measurement.objects.count() == 2 * len(old)
    revision = measured_reports[0].revisions.get()
    assert (revision.by, revision.number) == (None, 1)
    assert revision.content["sweeps"][0]["readings"][0]["method_version"] == METHOD_VERSION


def test_followers_are_told_of_submitted_reports_that_changed(measured_reports, next_method):
    list(remeasure(measurers=next_method))
    events = Event.objects.filter(name="report.remeasured")
    assert {event.data["lens"] for event in events} == {report.lens.slug for report in measured_reports}


def test_a_run_that_was_broken_off_goes_on_where_it_stopped(measured_reports, next_method):
    first = next(remeasure(measurers=next_method))
    assert first.report == measured_reports[0].public_id
    assert [one.report for one in remeasure(measurers=next_method)] == [measured_reports[1].public_id]


def test_a_report_whose_measuring_fails_is_left_as_it_was(measured_reports, next_method):
    def fail(image, light):
        raise MemoryError

    with pytest.raises(MemoryError):
        list(remeasure(measurers=replace(next_method, measure=fail)))
    assert set(Measurement.objects.values_list("method_version", flat=True)) == {METHOD_VERSION}
    assert reports_to_remeasure().count() == 2


def test_withdrawn_reports_are_left_alone(measured_reports, next_method):
    gone = measured_reports[0]
    services.withdraw_report(report=gone, by=gone.author, reason="wrong lens")
    assert gone.state == ReportState.WITHDRAWN
    assert [one.report for one in remeasure(measurers=next_method)] == [measured_reports[1].public_id]


def test_the_command_reports_what_changed_and_which_lenses_are_affected(
    measured_reports, next_method, tmp_path
):
    printed, out = io.StringIO(), tmp_path / "changed.json"
    call_command("remeasure", out=out, stdout=printed)
    text = printed.getvalue()
    assert "2 frames to measure, in 2 reports" in text
    assert "2 reports measured again, 2 changed" in text
    assert all(report.lens.slug in text for report in measured_reports)
    content = json.loads(out.read_text())
    assert content["method_version"] == NEXT
    assert len(content["reports"]) == 2


def test_the_whole_report_covers_runs_that_were_broken_off_and_names_standings_that_moved(
    next_method, drain, tmp_path, settings
):
    settings.LEDGER_FOLLOWERS = "registry.project.followers.FOLLOWERS"
    faint = replace(HOT_SCENE, patch=replace(HOT_SCENE.patch, strength_ev=0.06))
    reports = [measured_report(drain, photographed(faint, seed=seed)) for seed in (1, 2)]
    drain()
    next(remeasure(measurers=next_method))
    call_command("remeasure", stdout=io.StringIO())
    drain()
    printed, out = io.StringIO(), tmp_path / "changed.json"
    call_command("remeasure", report=True, out=out, stdout=printed)
    content = json.loads(out.read_text())
    assert [one["report"] for one in content["reports"]] == [one.public_id for one in reports]
    for one in content["reports"]:
        (reading,) = one["readings"]
        assert reading["after_ev"] == pytest.approx(reading["before_ev"] + 0.1)
    changes = StandingChange.objects.filter(cause="report.remeasured")
    assert changes.exists()
    assert [one["after"] for one in content["standings"]] == [
        change.after for change in changes.order_by("id")
    ]
    assert f"2 reports changed, {len(changes)} standings moved" in printed.getvalue()
    assert all(change.after in printed.getvalue() for change in changes)


def test_the_command_can_only_count(measured_reports, next_method):
    printed = io.StringIO()
    call_command("remeasure", pretend=True, stdout=printed)
    assert "2 frames" in printed.getvalue()
    assert reports_to_remeasure().count() == 2


def test_the_command_names_a_missing_folder_before_it_measures(measured_reports, next_method, tmp_path):
    with pytest.raises(CommandError, match="no folder"):
        call_command("remeasure", out=tmp_path / "nowhere" / "changed.json", stdout=io.StringIO())
    assert reports_to_remeasure().count() == 2
