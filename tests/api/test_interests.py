"""Declared interests over the API: one's own; nobody decides on what they earn by."""

import pytest
from django.utils import timezone

from registry.ledger.models import Event
from registry.reports.models import ReportState
from tests.api.conftest import with_token
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
INTERESTS = "/api/v1/me/interests/"


def test_who_declares_an_interest_decides_on_nothing_of_it_until_it_is_over(as_moderator):
    report = ReportFactory(state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0})
    made = as_moderator.post(INTERESTS, {"lens": report.lens.slug})
    assert (made.status_code, made.json()["lens"]) == (201, report.lens.slug)
    aside = {
        "act": "set-aside",
        "reports": [report.public_id],
        "reason_code": "other",
        "reason": "Hm.",
    }
    refused = as_moderator.post("/api/v1/decisions/", aside)
    assert (refused.status_code, refused.json()["type"]) == (403, "/problems/declared-interest")
    seen = as_moderator.get(made["Location"])["ETag"]
    assert as_moderator.delete(made["Location"]).status_code == 428
    assert as_moderator.delete(made["Location"], headers={"If-Match": seen}).status_code == 204
    assert as_moderator.post("/api/v1/decisions/", aside).status_code == 201
    assert [event.name for event in Event.objects.filter(subject_kind="account")][:2] == [
        "interest.declared",
        "interest.withdrawn",
    ]


def test_said_twice_it_is_said_once(as_contributor):
    slug = LensFactory().maker.slug
    first, again = [as_contributor.post(INTERESTS, {"maker": slug}) for _ in range(2)]
    assert first.json() == again.json()
    assert len(as_contributor.get(INTERESTS).json()["items"]) == 1


@pytest.mark.parametrize(
    ("sent", "status"),
    [({}, 422), ({"lens": "a", "maker": "b"}, 404), ({"maker": "nobody"}, 404), ({"lens": "none"}, 404)],
)
def test_one_lens_or_one_maker_is_named(as_contributor, sent, status):
    assert as_contributor.post(INTERESTS, sent).status_code == status


def test_they_are_ones_own(as_contributor):
    made = as_contributor.post(INTERESTS, {"lens": LensFactory().slug})
    other = with_token(AccountFactory(), "read", "submit")
    assert other.get(INTERESTS).json()["items"] == []
    assert other.delete(made["Location"], headers={"If-Match": made["ETag"]}).status_code == 404
