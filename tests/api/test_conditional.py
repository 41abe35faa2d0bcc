"""Nothing is sent twice, and nobody overwrites what they haven't seen (RFC 9110, section 13; RFC 6585)."""

import pytest

from registry.reports.models import Report
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory, jpeg_upload

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft(contributor):
    return ReportFactory(author=contributor, grades={8: 0})


@pytest.fixture
def address(draft):
    return f"/api/v1/reports/{draft.public_id}/"


@pytest.mark.parametrize("held", ["{tag}", "W/{tag}", '"other", {tag}', "*"])
def test_what_the_asker_holds_is_not_sent_again(anyone, held):
    address = f"/api/v1/lenses/{LensFactory().slug}/"
    first = anyone.get(address)
    again = anyone.get(address, headers={"If-None-Match": held.format(tag=first["ETag"])})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])


def test_a_changed_thing_has_another_tag(anyone):
    lens = LensFactory()
    address = f"/api/v1/lenses/{lens.slug}/"
    first = anyone.get(address)
    lens.mass_g = 412
    lens.save()
    assert anyone.get(address, headers={"If-None-Match": first["ETag"]}).status_code == 200


@pytest.mark.parametrize("method", ["patch", "delete"])
def test_a_change_without_if_match_is_refused(as_contributor, address, method):
    answer = getattr(as_contributor, method)(address, {})
    assert (answer.status_code, answer.json()["type"]) == (428, "/problems/if-match-missing")


def test_a_change_to_what_was_changed_meanwhile_is_refused(as_contributor, address):
    seen = as_contributor.get(address)["ETag"]
    first = as_contributor.patch(address, {"notes": "one"}, headers={"If-Match": seen})
    assert first.status_code == 200
    late = as_contributor.patch(address, {"notes": "two"}, headers={"If-Match": seen})
    assert (late.status_code, late.json()["type"]) == (412, "/problems/changed-meanwhile")
    assert late["ETag"] == first["ETag"]
    assert (
        as_contributor.patch(address, {"notes": "two"}, headers={"If-Match": late["ETag"]}).status_code == 200
    )


def test_a_picture_is_changed_and_deleted_under_the_same_rule(as_contributor):
    image = as_contributor.post("/api/v1/images/", {"frame": jpeg_upload()}, format="multipart")
    address = image["Location"]
    assert as_contributor.patch(address, {"grade": 2}).status_code == 428
    assert as_contributor.patch(address, {"grade": 2}, headers={"If-Match": '"stale"'}).status_code == 412
    seen = as_contributor.get(address)["ETag"]
    graded = as_contributor.patch(address, {"grade": 2}, headers={"If-Match": seen})
    assert graded.json()["grade"] == 2
    assert as_contributor.delete(address, headers={"If-Match": seen}).status_code == 412
    assert as_contributor.delete(address, headers={"If-Match": graded["ETag"]}).status_code == 204
    assert as_contributor.get(address).status_code == 404


@pytest.mark.django_db(transaction=True)
def test_of_eight_changes_at_once_one_is_kept_and_seven_are_told(tmp_path):
    author = AccountFactory()
    report = ReportFactory(author=author)
    clients = [with_token(author, "read", "submit") for _ in range(8)]
    address = f"/api/v1/reports/{report.public_id}/"
    with separate_connections(tmp_path):
        (seen,) = at_once([lambda: clients[0].get(address)["ETag"]])
        answers = at_once(
            [
                lambda c=c, n=n: c.patch(address, {"notes": f"note {n}"}, headers={"If-Match": seen})
                for n, c in enumerate(clients)
            ]
        )
        (notes,) = at_once([lambda: Report.objects.get(pk=report.pk).notes])
    assert sorted(answer.status_code for answer in answers) == [200] + [412] * 7
    assert notes == next(answer.json()["notes"] for answer in answers if answer.status_code == 200)
