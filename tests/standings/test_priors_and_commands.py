"""Editions of the priors, the commands, and the task that follows a report."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from registry.consensus.constants import METHOD_VERSION
from registry.ledger.models import Event
from registry.ledger.worker import drain_tasks
from registry.reports.services import file_report, withdraw_report
from registry.standings.models import PriorsEdition, Standing
from registry.standings.services import ensure_edition, refresh_all, renew_priors
from registry.standings.tasks import refresh_for_report
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


def command(*args, **options) -> str:
    out = io.StringIO()
    call_command(*args, stdout=out, stderr=io.StringIO(), **options)
    return out.getvalue()


@pytest.fixture
def catalogue():
    lenses = [LensFactory(widest_f=2) for _ in range(3)]
    for lens, limit in zip(lenses, (4, 8, 11), strict=True):
        for _ in range(3):
            report_on(lens, limit=limit)
    return lenses


def test_the_first_edition_is_the_base(catalogue):
    assert (ensure_edition().number, ensure_edition().number) == (1, 1)
    refresh_all()
    assert {standing.priors.number for standing in Standing.objects.all()} == {1}


def test_renewed_priors_are_a_new_edition_and_every_standing_states_its_own(catalogue):
    refresh_all()
    edition = renew_priors()
    assert edition.number == 2
    assert PriorsEdition.objects.get(in_force=True) == edition
    assert {standing.priors.number for standing in Standing.objects.all()} == {1}
    assert refresh_all().written == 3
    assert {standing.priors.number for standing in Standing.objects.all()} == {2}


def test_renewing_without_news_makes_no_edition(catalogue):
    renew_priors()
    assert renew_priors().number == 2


def test_an_edition_of_an_earlier_method_still_serves(catalogue):
    edition = ensure_edition()
    known_then = {k: v for k, v in edition.content.items() if k not in ("effects", "levels")}
    PriorsEdition.objects.update(content=known_then, method_version="2026.1")
    assert refresh_all().written == 3
    standing = Standing.objects.first()
    assert (standing.priors.method_version, standing.method_version) == ("2026.1", METHOD_VERSION)
    assert renew_priors().number == edition.number + 1


def test_the_commands_say_what_they_did(catalogue):
    assert command("refresh_standings") == "3 standings written, 3 verdicts changed\n"
    assert command("refresh_standings") == "0 standings written, 0 verdicts changed\n"
    assert command("renew_priors").startswith(
        "priors edition 2 in force (follows edition 1)\n3 standings written"
    )
    assert command("refresh_standings", lens=catalogue[0].slug).startswith("0 standings")


def test_refreshing_an_unknown_lens_names_the_nearest(catalogue):
    with pytest.raises(CommandError, match=catalogue[0].slug):
        command("refresh_standings", lens=catalogue[0].slug[:-1] + "x")


def test_a_submitted_report_moves_the_standing_and_a_withdrawn_one_moves_it_back():
    lens, author = LensFactory(widest_f=2), AccountFactory()
    data = {
        "lens": lens.slug,
        "basis": "relayed",
        "citation_title": "A leaflet",
        "tester_name": "R. Samphire",
        "cut_on_nm": 720,
        "claims": [{"says": "clean_to", "f_number": 8}],
    }
    report = file_report(author=author, data=data, submit=True)
    drain_tasks()
    assert Standing.objects.get(lens=lens).words == "one report so far: clean to f/8"
    withdraw_report(report=report, by=author, reason="misread")
    drain_tasks()
    assert Standing.objects.get(lens=lens).verdict == "no-reports"
    causes = [change.cause for change in lens.standing_changes.order_by("id")]
    assert causes == ["report.submitted", "report.withdrawn"]
    sequences = set(Event.objects.values_list("sequence", flat=True))
    assert {change.cause_event for change in lens.standing_changes.all()} <= sequences


def test_running_the_task_twice_changes_nothing_more():
    lens, author = LensFactory(widest_f=2), AccountFactory()
    data = {
        "lens": lens.slug,
        "basis": "relayed",
        "citation_title": "A leaflet",
        "tester_name": "R. Samphire",
        "claims": [{"says": "clean_all"}],
    }
    file_report(author=author, data=data, submit=True)
    drain_tasks()
    sequence = Event.objects.get(name="report.submitted").sequence
    before = (lens.standing_changes.count(), Event.objects.count())
    refresh_for_report.call(sequence)
    assert (lens.standing_changes.count(), Event.objects.count()) == before


def case(**changes) -> dict:
    """One case of the exchange form."""
    readings = [
        {"f": 4, "ev": 0.0, "u": 0.01},
        {"f": 8, "ev": 0.02, "u": 0.01},
        {"f": 16, "ev": 0.4, "u": 0.02},
    ]
    report = {
        "id": "r1", "contributor": "t1", "copy": None, "source": None, "cut_on_nm": 720, "focal_mm": 35,
        "filter_position": "front", "body": None, "method": "measured", "readings": readings,
    }  # fmt: skip
    return {
        "id": "a",
        "lens": {"widest": 2, "narrowest": 16, "focal_min": 35, "focal_max": 35},
        "question": {
            "cut_on_nm": 720,
            "focal_mm": 35,
            "filter_position": "front",
            "body": None,
            "method": "measured",
        },
        "question_stops": [4, 8, 16],
        "reports": [report],
    } | changes


def test_consensus_of_answers_a_file_of_cases(tmp_path):
    cases, out = tmp_path / "cases.json", tmp_path / "results.json"
    cases.write_text(json.dumps({"cases": [case()]}))
    command("consensus_of", str(cases), out=str(out))
    answer = json.loads(out.read_text())["cases"]["a"]
    assert set(answer) >= {"p_clean", "limit_av", "explanation", "n_independent", "verdict", "confidence"}
    assert answer["p_clean"]["4"] > answer["p_clean"]["8"] > answer["p_clean"]["16"]
    assert answer["n_independent"] == 1


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("{", "is no JSON: .* at line 1"),
        ("[]", "cases"),
        ('{"cases": 3}', "cases"),
        ("[" * 100_000, "nests too deeply"),
    ],
)
def test_consensus_of_says_what_is_wrong_with_a_file(tmp_path, content, says):
    cases = tmp_path / "cases.json"
    cases.write_text(content)
    with pytest.raises(CommandError, match=says):
        command("consensus_of", str(cases), out=str(tmp_path / "out.json"))


def test_consensus_of_names_a_missing_file_and_an_impossible_threshold(tmp_path):
    with pytest.raises(CommandError, match="can't be read"):
        command("consensus_of", str(tmp_path / "none.json"), out=str(tmp_path / "out.json"))
    cases = tmp_path / "cases.json"
    cases.write_text(json.dumps({"cases": [case()]}))
    with pytest.raises(CommandError, match="visible"):
        command("consensus_of", str(cases), out=str(tmp_path / "out.json"), visible_ev=9.0)


def test_a_refused_case_is_named_and_the_others_are_answered(tmp_path):
    bad = case(id="b")
    bad["reports"][0]["readings"][0]["u"] = -1
    cases, out = tmp_path / "cases.json", tmp_path / "results.json"
    cases.write_text(json.dumps({"cases": [case(), bad]}))
    command("consensus_of", str(cases), out=str(out))
    results = json.loads(out.read_text())
    assert set(results["cases"]) == {"a"}
    assert results["refused"]["b"][0]["field"] == "cases[1].reports[0].readings[0].u"
