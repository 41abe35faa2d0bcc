"""Picks as pages: written by whoever signs them, read by anyone, never taken for the registry's word."""

import pytest
from django.urls import reverse

from registry.picks.models import PickList
from registry.picks.rules import PickGiven
from registry.picks.services import publish_list
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db
NEW = reverse("new-pick-list")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def typed(*rows, title="Dunes at 720 nm", **more):
    fields = {"title": title, "about": "", "picks-TOTAL_FORMS": len(rows), "picks-INITIAL_FORMS": 0}
    for place, (lens, reason) in enumerate(rows):
        fields |= {f"picks-{place}-lens": lens, f"picks-{place}-reason": reason}
    return fields | more


def test_a_list_is_published_with_lenses_as_people_name_them(signed_in, contributor, lens):
    answer = signed_in.post(NEW, typed(("osterby marram 35 1.4", "Small and clean."), ("", "")), follow=True)
    page = text_of(answer)
    assert f"Picked by {contributor}" in page and "Small and clean." in page
    assert "Reports: No reports" in page
    assert PickList.objects.get().picks.get().lens == lens


def test_what_was_typed_stays_when_something_is_wrong(signed_in, lens):
    answer = signed_in.post(NEW, typed(("zwjxq 999", "Never seen."), (str(lens), "")))
    page = text_of(answer)
    assert answer.status_code == 422
    assert "has no lens like “zwjxq 999”" in page and "Never seen." in page
    assert "Say why you would take it out yourself." in page


def test_a_name_that_means_several_lenses_offers_them(signed_in, lens):
    LensFactory(name="Marram 35 mm f/2", widest_f=2)
    page = text_of(signed_in.post(NEW, typed(("marram 35", "Either."))))
    assert "Which one is meant:" in page and "Marram 35 mm f/2" in page


def test_a_persons_words_are_never_markup_and_their_links_are_theirs(client, lens):
    reason = '<script>alert(1)</script> see https://saltmarsh.example/dunes?a=1&b=2 and <a href="x">this</a>'
    made = publish_list(
        author=AccountFactory(), title="<b>Bold</b>", about="a\n\nb", picks=[PickGiven(lens, reason)]
    )
    page = client.get(reverse("pick-list", args=[made.public_id])).content.decode()
    assert "<script>alert" not in page and "<b>Bold" not in page and '<a href="x"' not in page
    assert 'href="https://saltmarsh.example/dunes?a=1&amp;b=2" rel="nofollow ugc"' in page


def test_a_withdrawn_list_leaves_a_note_at_its_address(signed_in, contributor, lens):
    made = publish_list(
        author=contributor, title="Dunes", about="Mine", picks=[PickGiven(lens, "Secret spot.")]
    )
    signed_in.post(reverse("withdraw-pick-list", args=[made.public_id]))
    answer = signed_in.get(reverse("pick-list", args=[made.public_id]))
    assert answer.status_code == 410
    assert "This list was withdrawn" in text_of(answer)
    assert "Secret spot." not in text_of(answer) and "Dunes" not in text_of(answer)


def test_only_its_author_finds_the_way_to_change_it(signed_in, contributor, client, lens):
    made = publish_list(author=AccountFactory(), title="Dunes", about="", picks=[PickGiven(lens, "Good.")])
    change = reverse("change-pick-list", args=[made.public_id])
    assert change not in text_of(signed_in.get(reverse("pick-list", args=[made.public_id])))
    assert signed_in.get(change).status_code == 403
    assert signed_in.post(reverse("withdraw-pick-list", args=[made.public_id])).status_code == 403


def test_a_list_is_changed_row_by_row(signed_in, contributor, lens):
    made = publish_list(author=contributor, title="Dunes", about="", picks=[PickGiven(lens, "Good.")])
    change = reverse("change-pick-list", args=[made.public_id])
    assert "Good." in text_of(signed_in.get(change))
    signed_in.post(change, typed((str(lens), "Better."), title="Marsh", version="1"))
    assert "Better." in text_of(signed_in.get(reverse("pick-list", args=[made.public_id])))
    stale = signed_in.post(change, typed((str(lens), "Lost?"), title="Marsh", version="1"))
    assert stale.status_code == 422 and "changed since you opened it" in text_of(stale)


def test_picks_stand_on_the_lenss_page_apart_from_its_standing(client, lens):
    page = reverse("lens", args=[lens.slug])
    assert "Recommend this lens" in text_of(client.get(page))
    publish_list(
        author=AccountFactory(name="knot"), title="Dunes", about="", picks=[PickGiven(lens, "Good.")]
    )
    from django.core.cache import cache

    cache.clear()  # the test's transaction never commits, so the cached answer is not dropped by itself
    shown = text_of(client.get(page))
    assert "Recommended by" in shown and "they move no verdict" in shown
    assert shown.index("standing") < shown.index("Recommended by")


@pytest.mark.parametrize("address", ["pick-lists", "new-pick-list"])
def test_pages_of_picks_open_with_and_without_a_lens(signed_in, lens, address):
    assert signed_in.get(reverse(address)).status_code == 200
    page = text_of(signed_in.get(reverse(address), {"lens": lens.slug}))
    assert str(lens) in page
