"""Reports through the API: filed whole, with frames, read back, changed and taken out."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.ledger.worker import drain_tasks
from registry.reports.models import Report
from tests.api.conftest import with_token
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import HOT_SCENE, jpeg_upload, photographed

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-own")


@pytest.fixture
def body():
    return BodyFactory(slug="osterby-causey-own")


@pytest.fixture
def graded(lens, body) -> dict:
    """A report by eye, as a program sends it."""
    return {
        "lens": lens.slug,
        "basis": "graded",
        "rig": {"body": body.slug, "conversion": "long-pass", "cut_on_nm": 720},
        "shot_on": "2024-06-21",
        "sweeps": [
            {
                "readings": [
                    {"f_number": 4, "grade": 0},
                    {"f_number": 8, "grade": 0},
                    {"f_number": 11, "grade": 3},
                ]
            }
        ],
        "findings": [{"kind": "flare", "grade": 2}],
        "submit": True,
    }


def test_a_report_sent_whole_is_read_back_and_makes_a_standing(as_contributor, anyone, graded, lens):
    filed = as_contributor.post("/api/v1/reports/", graded)
    assert filed.status_code == 201, filed.content
    drain_tasks()
    read = anyone.get(filed["Location"]).json()
    assert read["state"] == "submitted"
    assert [reading["grade"] for reading in read["sweeps"][0]["readings"]] == [0, 0, 3]
    assert read["cut_on_nm"] == 720
    answer = anyone.get(f"/api/v1/lenses/{lens.slug}/", {"cut_on_nm": 720}).json()["answer"]
    assert answer["sentence"] == "one report so far: clean to f/8"
    assert answer["findings"][0]["median"] == 2


def test_every_problem_is_named_with_its_pointer_at_once(as_contributor, graded):
    graded["sweeps"][0]["readings"][2]["f_number"] = 7.4
    graded["shot_on"] = "2999-01-01"
    graded["lenss"] = "x"
    answer = as_contributor.post("/api/v1/reports/", graded)
    assert answer.status_code == 422
    entries = {entry["pointer"]: entry for entry in answer.json()["errors"]}
    assert {"#/sweeps/0/readings/2/f_number", "#/shot_on", "#/lenss"} <= set(entries)
    assert "f/7.1" in entries["#/sweeps/0/readings/2/f_number"]["remedy"]
    assert "lens" in entries["#/lenss"]["remedy"]
    assert not Report.objects.exists()


@pytest.mark.parametrize("value", ["1e999", "-1e999", "NaN", "Infinity"])
def test_numbers_that_are_none_are_refused(as_contributor, graded, value):
    body = json.dumps(graded).replace('"f_number": 11', f'"f_number": {value}')
    answer = as_contributor.generic("POST", "/api/v1/reports/", body, content_type="application/json")
    assert answer.status_code in (400, 422)
    assert answer["Content-Type"] == "application/problem+json"


def test_an_unknown_lens_offers_the_nearest_known(as_contributor, graded):
    answer = as_contributor.post("/api/v1/reports/", graded | {"lens": "Osterby Maram 35mm 1.4"})
    (entry,) = answer.json()["errors"]
    assert entry["pointer"] == "#/lens"
    assert "Marram" in entry["remedy"] + entry["detail"]


def test_a_report_with_frames_in_one_form_is_measured_and_stands(as_contributor, anyone, graded, lens):
    """The whole way: frames in, excess measured, a public standing out."""
    graded |= {"basis": "measured", "sweeps": [], "findings": []}
    frames = [
        jpeg_upload(
            photographed(HOT_SCENE, f_number=stop, frame=index),
            f"frame-{index}.jpg",
            f_number=stop,
            focal_length_mm=35,
        )
        for index, stop in enumerate((2, 4, 8, 16))
    ]
    form = {"report": json.dumps(graded), "frames": frames}
    filed = as_contributor.post("/api/v1/reports/", form, format="multipart")
    assert filed.status_code == 201, filed.content
    assert filed.json()["state"] == "draft"
    assert filed.json()["submit_when_measured"]
    drain_tasks()
    read = anyone.get(filed["Location"]).json()
    assert read["state"] == "submitted", read
    readings = read["sweeps"][0]["readings"]
    assert [reading["f_number"] for reading in readings] == [2, 4, 8, 16]
    assert readings[-1]["excess_ev"] > 0.2
    answer = anyone.get(f"/api/v1/lenses/{lens.slug}/").json()["answer"]
    assert answer["sentence"].startswith("one report so far: ")
    image = anyone.get(f"/api/v1/images/{read['images'][0]['id']}/").json()
    assert image["measurement"]["profile"]["radius"]
    assert image["file_name"] is None
    assert image["exif"] is None


def test_images_uploaded_first_are_named_by_their_ids(as_contributor, graded):
    uploads = [
        as_contributor.post(
            "/api/v1/images/",
            {"frame": jpeg_upload(photographed(f_number=stop), f_number=stop)},
            format="multipart",
        )
        for stop in (4, 8)
    ]
    assert [answer.status_code for answer in uploads] == [201, 201]
    assert [answer.json()["state"] for answer in uploads] == ["arrived", "arrived"]
    names = [answer.json()["id"] for answer in uploads]
    filed = as_contributor.post(
        "/api/v1/reports/",
        graded
        | {"basis": "measured", "sweeps": [], "images": [names[0], {"image": names[1], "f_number": 8}]},
    )
    assert filed.status_code == 201, filed.content
    drain_tasks()
    read = as_contributor.get(filed["Location"]).json()
    assert [image["id"] for image in read["images"]] == names


def test_a_frame_that_is_no_image_is_refused_and_the_draft_stays(as_contributor, graded):
    draft = as_contributor.post("/api/v1/reports/", graded | {"submit": False})
    address = draft["Location"] + "frames/"
    bad = SimpleUploadedFile("notes.jpg", b"not a picture at all", content_type="image/jpeg")
    answer = as_contributor.post(address, {"frame": bad}, format="multipart")
    assert answer.status_code == 422
    assert as_contributor.get(draft["Location"]).json()["images"] == []
    good = as_contributor.post(address, {"frame": jpeg_upload()}, format="multipart")
    assert good.status_code == 201
    again = as_contributor.post(address, {"frame": jpeg_upload()}, format="multipart")
    assert again.json()["id"] == good.json()["id"]


def test_drafts_are_their_authors_only(as_contributor, anyone, graded):
    draft = as_contributor.post("/api/v1/reports/", graded | {"submit": False})
    assert anyone.get(draft["Location"]).status_code == 404
    stranger = with_token(AccountFactory(), "read", "submit")
    assert stranger.get(draft["Location"]).status_code == 404
    assert stranger.delete(draft["Location"], headers={"If-Match": "*"}).status_code == 404
    listed = as_contributor.get("/api/v1/reports/", {"author": "me", "state": "draft"}).json()["items"]
    assert [row["id"] for row in listed] == [draft.json()["id"]]
    assert anyone.get("/api/v1/reports/").json()["items"] == []


def test_a_draft_is_changed_submitted_revised_and_withdrawn(as_contributor, anyone, graded):
    draft = as_contributor.post("/api/v1/reports/", graded | {"submit": False})
    address = draft["Location"]
    changed = as_contributor.patch(
        address,
        {"sweeps": [{"readings": [{"f_number": 8, "grade": 1}]}]},
        headers={"If-Match": draft["ETag"]},
    )
    assert changed.status_code == 200, changed.content
    assert len(changed.json()["sweeps"][0]["readings"]) == 1
    submitted = as_contributor.post(address + "submit/", {})
    assert submitted.json()["state"] == "submitted"
    unexplained = as_contributor.patch(address, {"notes": "windy"}, headers={"If-Match": "*"})
    assert unexplained.status_code == 422
    revised = as_contributor.patch(
        address, {"notes": "windy", "reason": "left out"}, headers={"If-Match": "*"}
    )
    assert (revised.json()["revision"], len(revised.json()["revisions"])) == (2, 1)
    withdrawn = as_contributor.post(address + "withdraw/", {"reason": "wrong lens"})
    assert withdrawn.json()["state"] == "withdrawn"
    gone = anyone.get(address)
    assert (gone.status_code, gone.json()["type"]) == (410, "/problems/report-withdrawn")
    assert "wrong lens" in gone.json()["detail"]


def test_a_discarded_draft_is_gone(as_contributor, graded):
    draft = as_contributor.post("/api/v1/reports/", graded | {"submit": False})
    assert as_contributor.delete(draft["Location"], headers={"If-Match": draft["ETag"]}).status_code == 204
    assert as_contributor.get(draft["Location"]).status_code == 404


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({}, "report-part-missing"),
        ({"report": "{}", "frame": "x"}, "unknown-part"),
        ({"report": "{oops"}, "malformed-body"),
        ({"report": "[1]"}, "malformed-body"),
    ],
)
def test_a_form_of_another_shape_is_refused(as_contributor, form, code):
    answer = as_contributor.post("/api/v1/reports/", form, format="multipart")
    assert answer.json()["type"] == f"/problems/{code}"


def test_rigs_and_copies_are_kept_without_serial_numbers(as_contributor, body, lens, anyone):
    rig = {"body": body.slug, "conversion": "long-pass", "cut_on_nm": 720}
    first = as_contributor.post("/api/v1/rigs/", rig)
    assert as_contributor.post("/api/v1/rigs/", rig).json()["id"] == first.json()["id"]
    assert as_contributor.get(first["Location"]).json()["title"].endswith("720 nm")
    copy = as_contributor.post("/api/v1/copies/", {"lens": lens.slug, "serial_number": "SN 123-45"})
    assert copy.json()["serial_number_known"]
    assert b"123" not in copy.content
    assert anyone.get("/api/v1/rigs/").status_code == 401
    assert with_token(AccountFactory(), "read").get(first["Location"]).status_code == 404
