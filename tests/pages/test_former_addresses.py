"""The address of gear that was merged leads to what it was merged into, on pages and in the API."""

import pytest

from registry.gear.merging import merge_gear, take_back_merge
from tests.factories import AccountFactory, BodyFactory, LensFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def merge():
    moderator = AccountFactory(moderator=True)
    return merge_gear(double=LensFactory(slug="maram"), into=LensFactory(slug="marram"), by=moderator)


@pytest.mark.parametrize(
    ("former", "now"),
    [
        ("/lenses/maram/", "/lenses/marram/"),
        ("/lenses/maram/reports/?page=2", "/lenses/marram/reports/?page=2"),
        ("/compare/?lens=maram&cut_on_nm=720", "/compare/?lens=marram&cut_on_nm=720"),
        ("/feeds/lenses/maram.atom", "/feeds/lenses/marram.atom"),
        ("/api/v1/lenses/maram/", "/api/v1/lenses/marram/"),
        ("/api/v1/lenses/maram/?cut_on_nm=665", "/api/v1/lenses/marram/?cut_on_nm=665"),
    ],
)
def test_a_former_address_redirects_for_good(client, merge, former, now):
    answer = client.get(former)
    assert (answer.status_code, answer["Location"]) == (308, now)
    assert client.get(now).status_code == 200


def test_a_body_s_former_address_in_the_api_redirects_too(client):
    merge_gear(
        double=BodyFactory(slug="old"), into=BodyFactory(slug="new"), by=AccountFactory(moderator=True)
    )
    assert client.get("/api/v1/bodies/old/")["Location"] == "/api/v1/bodies/new/"


def test_once_taken_back_the_address_is_its_own_again(client, merge):
    take_back_merge(merge=merge, by=merge.by)
    assert client.get("/lenses/maram/").status_code == 200


def test_what_was_never_there_is_still_not_found(client, merge):
    assert client.get("/lenses/nobody-knows/").status_code == 404
    assert client.get("/elsewhere/maram/").status_code == 404


@pytest.mark.parametrize("address", ["/api/v1/reports/a;=/submit/", "/lenses/a;b=c/", "/lenses/a/?x=é;"])
def test_two_ways_of_writing_an_address_lead_nobody_round_in_circles(client, address):
    assert client.get(address).status_code == 404
