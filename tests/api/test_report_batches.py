"""Reports by the thousand: each line filed or refused by itself, and none filed twice."""

from __future__ import annotations

import json

import pytest

from registry.ledger.models import Event
from registry.ledger.services import verify
from registry.ledger.worker import drain_tasks
from registry.reports.models import Copy, Report, Rig
from registry.reports.services.batch import Line, ReportBatch
from tests.api.conftest import with_token
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import jpeg_upload

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/reports/batch/"


@pytest.fixture
def lens():
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-own")


@pytest.fixture
def graded(lens):
    BodyFactory(slug="osterby-causey-own")
    return {
        "lens": lens.slug,
        "basis": "graded",
        "rig": {"body": "osterby-causey-own", "conversion": "long-pass", "cut_on_nm": 720},
        "copy": {"label": "my copy", "serial_number": "12 34"},
        "shot_on": "2024-06-21",
        "sweeps": [{"readings": [{"f_number": 4, "grade": 0}, {"f_number": 11, "grade": 3}]}],
        "claims": [{"says": "clean_to", "f_number": 8}],
        "findings": [{"kind": "flare", "grade": 2, "note": "low sun"}],
        "submit": True,
    }


def sent(client, *lines, **headers) -> list[dict]:
    body = "\n".join(each if isinstance(each, str) else json.dumps(each) for each in lines)
    answer = client.generic("POST", ADDRESS, body, content_type="application/x-ndjson", **headers)
    assert answer.status_code == 200, answer.content
    assert answer["Content-Type"] == "application/x-ndjson"
    return [json.loads(line) for line in answer.getvalue().splitlines()]


def what_it_says(client, report_id: str) -> dict:
    read = client.get(f"/api/v1/reports/{report_id}/").json()
    own = ("id", "author", "created_at", "updated_at", "submitted_at", "copy")
    return {name: value for name, value in read.items() if name not in own}


def test_lots_read_while_others_are_kept_end_as_one_lot_would(as_contributor, graded, monkeypatch):
    lines = [{"key": f"evening {number}"} | graded for number in range(7)]
    lines[4] = lines[4] | {"sweeps": [{"readings": [{"f_number": 8, "grade": 9}]}]}
    lines[5] = "not JSON"
    monkeypatch.setattr("api.v1.report_batches.LINES_AT_ONCE", 2)
    outcomes = sent(as_contributor, *lines)
    assert [outcome["line"] for outcome in outcomes] == [1, 2, 3, 4, 5, 6, 7]
    assert [outcome["status"] for outcome in outcomes] == [201, 201, 201, 201, 422, 422, 201]
    assert Rig.objects.count() == Copy.objects.count() == 1
    assert {outcome["status"] for outcome in sent(as_contributor, *lines[:4])} == {200}


def test_lines_whose_gear_is_known_are_read_without_the_database(graded, django_assert_num_queries):
    batch = ReportBatch(author=AccountFactory())
    batch.file(batch.read([Line("first", graded)]))
    with django_assert_num_queries(0):
        (read,) = batch.read([Line("second", graded)])
    assert read.contents is not None


def test_a_line_makes_the_report_that_filing_it_alone_makes(as_contributor, graded):
    (outcome,) = sent(as_contributor, {"key": "first"} | graded)
    assert (outcome["line"], outcome["key"], outcome["status"]) == (1, "first", 201)
    alone = as_contributor.post("/api/v1/reports/", graded).json()["id"]
    assert what_it_says(as_contributor, outcome["report"]) == what_it_says(as_contributor, alone)
    batched, single = Report.objects.get(public_id=outcome["report"]), Report.objects.get(public_id=alone)
    assert (batched.rig, batched.copy, batched.version) == (single.rig, single.copy, single.version)
    assert [(event.name, event.data) for event in Event.objects.filter(subject_id=batched.public_id)] == [
        (event.name, event.data) for event in Event.objects.filter(subject_id=single.public_id)
    ]


@pytest.mark.parametrize("words", ["one\n\\.\ntwo", '"quoted", \\N; =1+1', "\\.", "ünïcodé — 北極\ttab"])
def test_a_line_keeps_what_people_write_to_the_letter(as_contributor, graded, words):
    (outcome,) = sent(as_contributor, graded | {"notes": words, "place": ""})
    report = Report.objects.get(public_id=outcome["report"])
    assert (report.notes, report.place, report.filter) == (words, "", None)
    assert [finding.note for finding in report.findings.all()] == ["low sun"]


def test_a_refused_line_points_to_its_fields_and_keeps_no_other_back(as_contributor, graded):
    wrong = graded | {"sweeps": [{"readings": [{"f_number": 4, "grade": 0}, {"f_number": 5.1, "grade": 9}]}]}
    filed, refused, unread, also = sent(as_contributor, graded, wrong, "{not json", graded | {"notes": "2"})
    assert [filed["status"], refused["status"], unread["status"], also["status"]] == [201, 422, 422, 201]
    pointers = {error["pointer"] for error in refused["problem"]["errors"]}
    assert pointers == {"#/sweeps/0/readings/1/f_number", "#/sweeps/0/readings/1/grade"}
    assert unread["problem"]["type"] == "/problems/malformed-line"
    assert [outcome["line"] for outcome in (filed, refused, unread, also)] == [1, 2, 3, 4]
    assert Report.objects.count() == 2


def test_the_same_lines_again_file_nothing(as_contributor, graded):
    lines = [{"key": f"evening {count}"} | graded for count in range(3)] + [graded]
    first, again = sent(as_contributor, *lines), sent(as_contributor, *lines)
    assert [outcome["status"] for outcome in first] == [201] * 4
    assert [outcome["status"] for outcome in again] == [200] * 4
    assert [outcome["report"] for outcome in again] == [outcome["report"] for outcome in first]
    assert Report.objects.count() == 4


def test_after_a_break_the_rest_is_filed(as_contributor, graded):
    lines = [graded | {"notes": f"evening {count}"} for count in range(5)]
    sent(as_contributor, *lines[:2])
    assert [outcome["status"] for outcome in sent(as_contributor, *lines)] == [200, 200, 201, 201, 201]


def test_a_key_stands_for_one_report(as_contributor, graded):
    outcomes = sent(as_contributor, {"key": "a"} | graded, {"key": "a"} | graded | {"notes": "another"})
    assert [outcome["status"] for outcome in outcomes] == [201, 422]
    assert outcomes[1]["problem"]["type"] == "/problems/line-key-reused"
    assert outcomes[1]["problem"]["errors"][0]["pointer"] == "#/key"


def test_the_key_of_a_discarded_draft_is_free(as_contributor, graded):
    draft = {"key": "a"} | graded | {"submit": False}
    address = f"/api/v1/reports/{sent(as_contributor, draft)[0]['report']}/"
    assert (
        as_contributor.delete(address, headers={"If-Match": as_contributor.get(address)["ETag"]}).status_code
        == 204
    )
    assert sent(as_contributor, draft)[0]["status"] == 201


def test_one_refresh_for_each_lens_and_the_chain_holds(
    as_contributor, graded, lens, django_assert_max_num_queries
):
    from django_tasks_db.models import DBTaskResult

    other = LensFactory(name="Saltwort 50 mm f/1.4", slug="osterby-saltwort-own")
    lines = [graded | {"notes": f"{count}", "lens": [lens, other][count % 2].slug} for count in range(40)]
    with django_assert_max_num_queries(60):
        sent(as_contributor, *lines)
    assert verify() == []
    drain_tasks()
    refreshes = DBTaskResult.objects.filter(task_path="registry.standings.tasks.refresh_for_report")
    assert refreshes.count() == 2
    standing = as_contributor.get(f"/api/v1/lenses/{other.slug}/", {"cut_on_nm": 720}).json()["answer"]
    assert standing["sentence"].startswith("one report so far")  # twenty by one person are one voice


def test_pictures_and_summaries_come_in_as_with_a_report_alone(as_contributor, graded):
    picture = as_contributor.post("/api/v1/images/", {"frame": jpeg_upload()}, format="multipart").json()[
        "id"
    ]
    drain_tasks()
    measured = graded | {"basis": "measured", "images": [picture], "sweeps": []}
    summed = graded | {"own_summary": {"says": "clean_to", "f_number": 8}}
    outcomes = sent(as_contributor, measured, summed, measured, graded | {"images": ["nowhere"]})
    assert [outcome["status"] for outcome in outcomes] == [201, 201, 200, 422]
    shown = as_contributor.get(f"/api/v1/reports/{outcomes[0]['report']}/").json()
    assert [image["id"] for image in shown["images"]] == [picture]
    assert Report.objects.get(public_id=outcomes[1]["report"]).own_summary.says == "clean_to"


def test_what_a_refused_line_describes_is_not_kept(as_contributor, graded):
    outcomes = sent(as_contributor, graded | {"sweeps": [], "claims": []}, graded | {"basis": "measured"})
    assert [outcome["problem"]["errors"][0]["pointer"] for outcome in outcomes] == ["#/sweeps", "#/images"]
    assert not Rig.objects.exists() and not Copy.objects.exists()


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("[1]", "not-an-object"),
        ('{"key": 7}', "line-key-unusable"),
        ('{"key": "' + "k" * 65 + '"}', "line-key-unusable"),
        ('{"lens": NaN}', "malformed-line"),
        ("[" * 100_000, "malformed-line"),
        ('{"notes": ' + "[" * 300 + "]" * 300 + "}", "malformed-line"),
        ('{"notes": "half a pair \\ud800"}', "malformed-line"),
        ('{"notes": "' + "n" * 300_000 + '"}', "line-too-long"),
        ('{"submit": "yes"}', "not-a-boolean"),
        ('{"claim": []}', "unknown-field"),
    ],
)
def test_an_unusable_line_says_why_and_the_next_is_read(as_contributor, graded, line, code):
    unusable, filed = sent(as_contributor, line, graded)
    assert unusable["problem"]["errors"][0]["type"] == f"/problems/{code}"
    assert filed["status"] == 201 and filed["line"] == 2


def test_only_lines_are_read_and_only_with_the_scope(as_contributor, contributor, anyone, graded):
    assert as_contributor.post(ADDRESS, graded, format="json").status_code == 415
    lines = {"data": json.dumps(graded), "content_type": "application/x-ndjson"}
    assert anyone.generic("POST", ADDRESS, **lines).status_code == 401
    assert with_token(contributor, "read").generic("POST", ADDRESS, **lines).status_code == 403
    assert as_contributor.get(ADDRESS).status_code == 405


def test_an_unconfirmed_address_files_drafts_only(as_contributor, graded, settings):
    settings.SUBMIT_NEEDS_CONFIRMED_EMAIL = True
    refused, draft = sent(as_contributor, graded, graded | {"submit": False})
    assert (refused["status"], draft["status"]) == (403, 201)


def test_a_fault_undoes_its_lines_and_says_so(as_contributor, graded, monkeypatch, caplog):
    def fails(*_, **__):
        raise RuntimeError("disk on fire")

    monkeypatch.setattr("registry.reports.services.batch_writing.record_all", fails)
    (outcome,) = sent(as_contributor, graded)
    assert outcome["status"] == 500 and "disk" not in json.dumps(outcome)
    assert not Report.objects.exists() and not Rig.objects.exists()
    assert "disk on fire" in caplog.text
    monkeypatch.undo()
    assert sent(as_contributor, graded)[0]["status"] == 201
