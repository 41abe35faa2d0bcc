"""Addresses that nobody answers are answered helpfully all the same."""

import pytest


@pytest.mark.parametrize("address", ["/api/", "/api/v2/lenses/", "/api/v1/nothing/"])
@pytest.mark.django_db
def test_an_unknown_address_of_the_api_is_a_problem_document(client, address):
    answer = client.get(address)
    assert answer.status_code == 404
    assert answer["Content-Type"].startswith("application/problem+json")
    assert answer.json()["type"]


@pytest.mark.django_db
def test_any_other_unknown_address_is_a_page(client):
    answer = client.get("/no-such-page/")
    assert answer.status_code == 404
    assert b"<h1" in answer.content
