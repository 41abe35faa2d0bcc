"""Wanted tests as pages: found, reserved, given back, and a few on the front page."""

import pytest
from django.urls import reverse

from registry.wanted.models import Reservation, WantedTest
from registry.wanted.services import rank_wanted_tests, reserve_test
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db
PAGE = reverse("wanted-tests")
USUAL = {"cut_on_group": "700-780"}


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def test(lens):
    rank_wanted_tests()
    return WantedTest.objects.get(cut_on_group="700-780")


def test_before_anything_is_ranked_the_page_says_so(client):
    assert "Nothing is ranked yet" in text_of(client.get(PAGE))


def test_a_wanted_test_leads_to_its_shot_list(client, test):
    page = text_of(client.get(PAGE, USUAL))
    assert str(test.lens) in page and "<p>Cut-on 700 to 779 nm" in page
    assert reverse("shot-list", args=[test.lens.slug]) in page


def test_a_reservation_is_seen_by_others_and_given_back_by_its_holder(client, signed_in, contributor, test):
    signed_in.post(reverse("reserve-test", args=[test.pk]), {"act": "reserve"})
    page = text_of(signed_in.get(PAGE, USUAL))
    assert "Reserved by you" in page and "Give it back" in page
    signed_in.logout()
    page = text_of(signed_in.get(PAGE, USUAL))
    assert f"Reserved by {contributor}" in page and "Give it back" not in page
    signed_in.force_login(contributor)
    signed_in.post(reverse("reserve-test", args=[test.pk]), {"act": "release"})
    assert Reservation.objects.get().ended == "released"


def test_coming_too_late_is_said_in_words(signed_in, test):
    reserve_test(account=AccountFactory(name="turnstone"), test=test)
    answer = signed_in.post(reverse("reserve-test", args=[test.pk]), follow=True)
    assert "is reserved by turnstone until" in text_of(answer)


def test_reserving_leads_to_signing_in_first(client, test):
    assert reverse("account_login") in client.post(reverse("reserve-test", args=[test.pk])).url


def test_the_list_is_narrowed_by_its_address(client, test):
    assert str(test.lens) in text_of(client.get(PAGE, {"mount": "teal", "cut_on_group": "780-up"}))
    assert "No test like that is wanted" in text_of(client.get(PAGE, {"reserved": "yes"}))
    refused = client.get(PAGE, {"mount": "tael"})
    assert refused.status_code == 422 and "Did you mean teal?" in text_of(refused)


def test_each_lens_stands_once_with_its_other_cut_ons_beside_it(client, test):
    page = text_of(client.get(PAGE))
    assert page.count(f'<h2><a href="{reverse("lens", args=[test.lens.slug])}"') == 1
    assert page.count("?cut_on_group=") == 3


def test_a_few_stand_on_the_front_page(client, test):
    home = text_of(client.get(reverse("home")))
    assert "Where one more report would teach most." in home
    assert "Where one more report" not in text_of(client.get(reverse("home"), {"kind": "prime"}))
