"""The API describes itself, truly."""

import os
import re

import pytest
from django.core.management import call_command
from openapi_spec_validator import validate
from rest_framework import serializers

from api.v1 import gear_inputs, report_inputs
from registry.gear.rules import FACTS
from registry.reports.rules.details import DETAIL_FIELDS
from registry.reports.services.contents import PART_FIELDS

pytestmark = pytest.mark.django_db
METHODS = ("get", "post", "put", "patch", "delete")


@pytest.fixture
def document(anyone):
    return anyone.get("/api/v1/openapi.json").json()


def operations(document):
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            if method in METHODS:
                yield f"{method} {path}", operation


def test_the_document_is_valid_openapi_3_1(document):
    assert document["openapi"].startswith("3.1")
    validate(document)


def test_the_document_is_made_once_and_not_sent_twice(anyone):
    first = anyone.get("/api/v1/openapi.json")
    again = anyone.get("/api/v1/openapi.json", headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])


def test_making_the_document_leaves_nothing_guessed():
    call_command("spectacular", "--api-version", "v1", "--fail-on-warn", file=os.devnull)


def test_every_operation_is_described(document):
    for name, operation in operations(document):
        assert operation.get("description"), name


def test_no_operation_takes_a_query_parameter_that_it_does_not_describe(document, as_moderator):
    taken = {}
    for name, operation in operations(document):
        method, _, path = name.partition(" ")
        address = re.sub(r"\{\w+\}", "1", path)
        answer = as_moderator.generic(method, f"{address}?unheard_of=1")
        if (answer.status_code, answer.json()["type"]) != (422, "/problems/unknown-parameter"):
            taken[name] = answer.status_code
        assert "unheard_of" not in str(operation.get("parameters"))
    assert taken == {}


def test_null_is_written_as_a_type(document):
    assert '"nullable"' not in str(document).replace("'", '"')


def test_every_resource_is_in_it(document):
    resources = {path.split("/")[3] for path in document["paths"]}
    assert resources == {
        "makers", "mounts", "lenses", "bodies", "filters", "teleconverters", "adapters", "rigs", "copies",
        "reports", "images", "standings", "conflicts", "shot-lists", "missing-facts", "bags", "kit-plans",
        "wanted-tests", "pick-lists", "exports", "releases", "decisions", "me",
        "waiting-reports", "flags", "hidden-pictures", "accounts", "blocks", "appeals", "desk", "events",
        "gear-proposals", "gear-doubles", "gear-merges", "gear-history",
        "voices", "worth-joining", "same-copies",
    }  # fmt: skip


def test_creating_operations_take_an_idempotency_key_and_changing_ones_need_if_match(document):
    for name, operation in operations(document):
        headers = {
            parameter["name"] for parameter in operation.get("parameters", []) if parameter["in"] == "header"
        }
        assert ("Idempotency-Key" in headers) == (
            name.startswith("post") and "201" in operation["responses"]
        ), name
        assert ("If-Match" in headers) == name.startswith(("put", "patch", "delete")), name


def test_the_described_report_has_the_fields_that_the_service_takes():
    described = set(report_inputs.ReportInput().fields) - {"submit"}
    assert described == {*DETAIL_FIELDS, *PART_FIELDS}


def test_answers_fit_their_description(anyone, document):
    """A lens's answer has exactly the described members."""
    from tests.factories import LensFactory

    body = anyone.get(f"/api/v1/lenses/{LensFactory().slug}/").json()
    schemas = document["components"]["schemas"]
    assert set(body["answer"]) == set(schemas["Answer"]["properties"])
    assert set(body["answer"]["here"]["zones"][0]) == set(schemas["Zone"]["properties"])


def test_the_reading_page_uses_nothing_from_elsewhere(anyone):
    page = anyone.get("/api/v1/reference/")
    assert page.status_code == 200
    html = page.content.decode()
    assert "https://" not in html
    assert "http://" not in html
    assert "<script>" not in html
    assert "style-src" in page["Content-Security-Policy"]


def test_the_described_proposals_have_the_facts_that_the_service_takes():
    for kind, described in (
        ("lenses", gear_inputs.LensProposal),
        ("bodies", gear_inputs.BodyProposal),
        ("filters", gear_inputs.FilterProposal),
    ):
        assert set(described().fields) == {*FACTS[kind], "new_maker", "source", "licence"}


def test_both_ways_to_sign_in_are_described(document):
    assert set(document["components"]["securitySchemes"]) == {"token", "cookieAuth"}


def test_serializers_for_documentation_check_nothing():
    """They are the reference's only; a rule written there would be a second one."""
    for name in dir(report_inputs):
        kind = getattr(report_inputs, name)
        if isinstance(kind, type) and issubclass(kind, serializers.Serializer):
            assert not [method for method in vars(kind) if method.startswith("validate")], name
