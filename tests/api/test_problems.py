"""Every error is a problem document (RFC 9457) that says what is wrong and what to do."""

import pytest
from rest_framework.test import APIClient

from api.problems import REMEDIES, document, pointer, problem_response
from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound, Problem, TooLarge, Unreadable
from registry.pages.explanations import explanation_of
from tests.report_factories import jpeg_upload

pytestmark = pytest.mark.django_db


def test_pointers_follow_rfc_6901():
    """RFC 6901, section 3: ~ and / in a name are written ~0 and ~1; section 6: the fragment form."""
    assert pointer("sweeps[0].readings[2].f_number") == "#/sweeps/0/readings/2/f_number"
    assert pointer("a/b") == "#/a~1b"
    assert pointer("m~n") == "#/m~0n"


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (InvalidInput, 422),
        (Unreadable, 422),
        (NotAllowed, 403),
        (NotFound, 404),
        (Conflict, 409),
        (TooLarge, 413),
    ],
)
def test_each_kind_of_domain_error_has_its_status(rf, error, status):
    problem = Problem(code="odd", says="It is odd.", remedy="Mend it.", field="a.b", value=3)
    answer = problem_response(error(problem), {"request": rf.post("/")})
    assert (answer.status_code, answer.content_type) == (status, "application/problem+json")
    assert answer.data["type"] == "/problems/odd"
    assert answer.data["errors"] == [
        {
            "type": "/problems/odd",
            "detail": "It is odd.",
            "remedy": "Mend it.",
            "pointer": "#/a/b",
            "value": 3,
        }
    ]


def test_values_that_json_cannot_carry_are_written_out():
    entry = document(422, (Problem("odd", "Odd.", "Mend.", "x", float("nan")),))["errors"][0]
    assert entry["value"] == "nan"


def test_an_unforeseen_error_stays_one(rf):
    assert problem_response(RuntimeError("oops"), {"request": rf.get("/")}) is None


@pytest.mark.parametrize(
    ("method", "address", "sent", "status", "code"),
    [
        ("get", "/api/v1/nothing/", {}, 404, "no-such-address"),
        ("post", "/api/v1/lenses/x/y/z", {}, 404, "no-such-address"),
        ("post", "/api/v1/reports/", {}, 401, "not-signed-in"),
        ("get", "/api/v1/reports/nope/", {}, 404, "unknown-report"),
        ("get", "/api/v1/images/nope/", {}, 404, "unknown-image"),
        ("get", "/api/v1/standings/1/", {}, 404, "not-found"),
    ],
)
def test_errors_of_the_frame_are_problems_too(anyone, method, address, sent, status, code):
    answer = getattr(anyone, method)(address, sent)
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/{code}")
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["status"] == status
    assert all(entry["remedy"] for entry in answer.json()["errors"])


def test_the_methods_that_an_address_knows_are_named(as_contributor):
    answer = as_contributor.put("/api/v1/makers/")
    assert (answer.status_code, answer.json()["type"]) == (405, "/problems/method-not-allowed")
    assert "GET" in answer["Allow"]


def test_whoever_must_sign_in_is_told_how(anyone):
    assert anyone.get("/api/v1/me/")["WWW-Authenticate"] == "Token"


@pytest.mark.parametrize(
    "header", ["Token", "Token a b", "Token wrong", "Token \xff\xfe", "Token " + "0" * 5000]
)
def test_tokens_that_are_none_are_answered_politely(header):
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=header)
    answer = client.get("/api/v1/lenses/")
    assert (answer.status_code, answer.json()["type"]) == (401, "/problems/not-recognised")


@pytest.mark.parametrize(
    ("body", "content_type", "status"),
    [
        (b"{", "application/json", 400),
        (b"[]", "application/json", 400),
        (b"\xff\xfe", "application/json", 400),
        (b'"text"', "application/json", 400),
        (b"<a/>", "application/xml", 415),
        (b"x", "multipart/form-data", 400),
        (b"[" * 100_000, "application/json", 400),
    ],
)
def test_bodies_that_are_none_are_refused(as_contributor, body, content_type, status):
    answer = as_contributor.generic("POST", "/api/v1/reports/", body, content_type=content_type)
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")


@pytest.mark.parametrize("sent", [[], "x", 3, None, {"body": []}, {"body": {"a": 1}}, {"cut_on_nm": {}}])
@pytest.mark.parametrize("address", ["rigs", "copies", "me/tokens", "lenses", "bodies", "reports"])
def test_odd_shapes_are_refused_everywhere(as_contributor, address, sent):
    answer = as_contributor.post(f"/api/v1/{address}/", sent)
    assert answer.status_code in (400, 422), answer.content
    assert answer["Content-Type"] == "application/problem+json"


def test_a_missing_frame_part_is_named(as_contributor):
    answer = as_contributor.post("/api/v1/images/", {"frames": jpeg_upload()}, format="multipart")
    assert answer.json()["type"] == "/problems/unknown-part"
    answer = as_contributor.post("/api/v1/images/", {}, format="multipart")
    assert answer.json()["type"] == "/problems/one-frame-expected"


@pytest.mark.parametrize(
    "query", ["search=%00", "search=" + "x" * 5000, "mount=%00", "focal_mm=1e400", "cursor=%00"]
)
def test_hostile_queries_are_refused(anyone, query):
    answer = anyone.get(f"/api/v1/lenses/?{query}")
    assert answer.status_code == 422, answer.content


@pytest.mark.parametrize("code", [*REMEDIES, "invalid"])
def test_what_the_framework_finds_wrong_is_explained_too(code):
    assert explanation_of(code.replace("_", "-"))


def test_a_bad_field_deep_in_a_list_is_pointed_at_with_its_own_remedy(as_contributor):
    """RFC 6901: a place in a list is its number from 0."""
    sent = {"lenses": [{"lens": "x"}, {"name": "y", "hod": True}], "cut_ons_nm": [720, "far"], "cut_on": 720}
    refused = as_contributor.post("/api/v1/kit-plans/", sent)
    assert refused.status_code == 422
    remedies = {entry["pointer"]: entry["remedy"] for entry in refused.json()["errors"]}
    assert remedies["#/lenses/1/hod"] == "Did you mean “hood”?"
    assert remedies["#/cut_on"] == "Did you mean “cut_ons_nm”?"
    assert "#/cut_ons_nm/1" in remedies
