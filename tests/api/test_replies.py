"""Answering on a report over the API."""

import pytest

from registry.reports import services
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def report(contributor):
    draft = ReportFactory(author=contributor, grades={8: 1})
    return services.submit_report(report=draft, by=contributor)


def address(report):
    return f"/api/v1/reports/{report.public_id}/"


def test_an_answer_is_part_of_the_report_and_a_repeat_is_not_said_twice(as_contributor, anyone, report):
    for _ in range(2):
        answer = as_contributor.post(
            f"{address(report)}replies/", {"says": "It was a wall."}, HTTP_IDEMPOTENCY_KEY="once"
        )
        assert answer.status_code == 201
    (reply,) = anyone.get(address(report)).json()["replies"]
    assert (reply["says"], reply["about"], reply["by"]["name"]) == (
        "It was a wall.",
        "submitted",
        report.author.name,
    )


@pytest.mark.parametrize(
    "sent", [{}, {"says": ""}, {"says": "x" * 2001}, {"says": "a", "about": "submitted"}]
)
def test_what_is_no_answer_is_refused(as_contributor, report, sent):
    assert as_contributor.post(f"{address(report)}replies/", sent).status_code == 422


def test_others_cannot_answer(as_contributor, anyone):
    theirs = ReportFactory(author=AccountFactory(), grades={8: 1})
    services.submit_report(report=theirs, by=theirs.author)
    assert as_contributor.post(f"{address(theirs)}replies/", {"says": "Me too."}).status_code == 403
    assert anyone.post(f"{address(theirs)}replies/", {"says": "Me too."}).status_code == 401
