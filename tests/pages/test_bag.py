"""My bag and its pages: without an account and with one."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from registry.bags.contents import Carried
from registry.bags.queries import bag_of
from registry.bags.services import change_bag
from registry.folder.use import summary_of
from registry.frames.exif import KeptExif
from tests.bags.standings import standing
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db
BAG, KIT, CARD, USE = (reverse(name) for name in ("bag", "kit-plan", "field-card", "bag-use"))
COMPARE = reverse("zoom-or-primes")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def pack(client, *lenses, state="owned"):
    for one in lenses:
        assert client.post(reverse("bag-lens", args=[one.slug]), {"state": state}).status_code == 302


def add(client, part, **fields):
    sent = {f"{part}-{name}": value for name, value in fields.items()} | {"add": part}
    return client.post(BAG, sent)


@pytest.fixture
def trio(lens):
    """Three lenses with threads of 49, 67 and 77 mm."""
    return (
        LensFactory(name="Marram 50 mm f/1.8", focal_min_mm=50, widest_f=1.8, filter_thread_mm=49),
        lens,
        LensFactory(zoom=True, name="Marram 24-70 mm f/2.8-4", filter_thread_mm=77),
    )


# ---- the bag -------------------------------------------------------------------------------------


def test_an_empty_bag_says_what_to_do_next_and_asks_for_no_account(client):
    page = text_of(client.get(BAG))
    assert "Your bag is empty" in page and reverse("home") in page
    assert "You need no account" in page


def test_a_lens_is_added_by_the_name_people_give_it(client, lens):
    answer = client.post(BAG, {"lens_name": "Osterby Marram 35 mm f/1.4", "state": "considered"}, follow=True)
    page = text_of(answer)
    assert "is in your bag" in page
    assert "considered" in page and "67 mm thread" in page


def test_a_name_that_fits_no_lens_exactly_offers_the_nearest(client, lens):
    answer = client.post(BAG, {"lens_name": "marem 35"})
    assert answer.status_code == 422
    assert f'value="{lens.slug}"' in text_of(answer)
    assert reverse("propose-lens") in text_of(answer)


def test_a_choice_among_the_nearest_is_taken(client, lens):
    client.post(BAG, {"lens_name": "marem 35", "lens": lens.slug, "state": "owned"})
    assert "Marram 35 mm f/1.4" in text_of(client.get(BAG))


def test_a_lens_page_offers_its_lens_to_the_bag(client, lens):
    assert f"{BAG}?pack={lens.slug}" in text_of(client.get(reverse("lens", args=[lens.slug])))
    assert f"Put {lens} into the bag?" in text_of(client.get(BAG, {"pack": lens.slug}))
    pack(client, lens)
    assert "into the bag?" not in text_of(client.get(BAG, {"pack": lens.slug}))


def test_each_lens_has_its_sentence_and_a_ladder_at_each_of_my_cut_ons(client, lens):
    standing(lens, 8)
    pack(client, lens)
    add(client, "cut-on", cut_on_nm="720")
    add(client, "cut-on", cut_on_nm="830")
    page = text_of(client.get(BAG))
    assert "Clean to f/8." in page
    assert page.count('class="ladder small"') == 2
    assert "830 nm:</span> No reports." in page


def test_what_the_catalogue_lacks_is_asked_for(client):
    unknown = LensFactory(filter_thread_mm=None)
    pack(client, unknown)
    page = text_of(client.get(BAG))
    assert "Thread unknown" in page and "lacks its filter thread" in page
    assert reverse("lens-facts", args=[unknown.slug]) in page


def test_pieces_go_in_and_come_out_again(client, lens):
    add(client, "filter", cut_on_nm="720", diameter_mm="40.5")
    add(client, "ring", lens_side_mm="37", filter_side_mm="40.5")
    add(client, "body", label="Causey 5", conversion_nm="665")
    page = text_of(client.get(BAG))
    assert "720 nm, 40.5 mm" in page and "37 → 40.5 mm" in page and "Causey 5: converted at 665 nm" in page
    for act in ("filter:720-40.5", "ring:37-40.5", "body:0"):
        assert f'value="{act}"' in page
        client.post(BAG, {"act": act})
    page = text_of(client.get(BAG))
    assert "40.5" not in page and "Causey 5" not in page


def test_a_piece_that_cannot_be_is_refused_beside_its_field_and_nothing_is_lost(client, lens):
    pack(client, lens)
    answer = add(client, "filter", cut_on_nm="72", diameter_mm="67")
    assert answer.status_code == 422
    assert "not a wavelength between 400 and 1100 nm" in text_of(answer)
    assert lens.name in text_of(client.get(BAG))


@pytest.mark.parametrize("act", ["ring:", "ring:x-y", "ring:1", "body:99", "filter:nan-nan", "nonsense", ""])
def test_a_button_that_fits_nothing_in_the_bag_changes_nothing(client, lens, act):
    pack(client, lens)
    assert client.post(BAG, {"act": act}).status_code == 302
    assert lens.name in text_of(client.get(BAG))


def test_the_bag_can_be_emptied(client, lens):
    pack(client, lens)
    client.post(BAG, {"act": "everything:"})
    assert "Your bag is empty" in text_of(client.get(BAG))


def test_a_lens_can_change_sides_take_its_hood_and_leave(client, lens):
    pack(client, lens)
    client.post(reverse("bag-lens", args=[lens.slug]), {"state": "considered", "hood": "on"})
    page = text_of(client.get(BAG))
    assert "with its hood" in page
    client.post(reverse("bag-lens", args=[lens.slug]), {"take_out": "1"})
    assert "Your bag is empty" in text_of(client.get(BAG))


def test_a_lens_that_left_the_catalogue_is_said_to_be_gone(client, lens):
    pack(client, lens)
    lens.delete()
    assert "1 lens of your bag is no longer in the catalogue" in text_of(client.get(BAG))


def test_what_was_packed_before_signing_in_is_kept_by_the_account(client, contributor, lens):
    pack(client, lens)
    client.force_login(contributor)
    assert "is in your account’s bag now" in text_of(client.get(BAG))
    assert bag_of(contributor).slugs == (lens.slug,)
    client.logout()
    assert "Your bag is empty" in text_of(client.get(BAG))


def test_two_people_do_not_see_each_others_bags(client, contributor, lens):
    change_bag(owner=contributor, change=lambda bag: bag.with_lens(Carried(lens.slug)))
    assert lens.name not in text_of(client.get(BAG))


def test_rigs_of_my_reports_can_be_taken_over(signed_in, contributor, typed):
    assert "Take over Osterby Causey 2" in text_of(signed_in.get(BAG))
    signed_in.post(BAG, {"act": "rigs:"})
    assert "Osterby Causey 2: converted at 720 nm" in text_of(signed_in.get(BAG))


def test_a_page_of_twenty_lenses_takes_no_more_statements_than_one_of_two(signed_in, contributor):
    def statements(count):
        slugs = [LensFactory().slug for _ in range(count)]
        change_bag(owner=contributor, change=lambda bag: _all_in(bag, slugs))
        with CaptureQueriesContext(connection) as told:
            for page in (BAG, KIT, CARD):
                assert signed_in.get(page).status_code == 200
        return len(told)

    statements(1)  # what a session and a process ask for once
    assert statements(1) == statements(18)


def _all_in(bag, slugs):
    for slug in slugs:
        bag = bag.with_lens(Carried(slug))
    return bag


# ---- the kit -------------------------------------------------------------------------------------


def test_a_kit_for_an_empty_bag_leads_to_the_bag(client):
    assert f'href="{BAG}"' in text_of(client.get(KIT))


def test_the_trades_plain_answer_is_the_plan_where_it_is_the_best(client, trio):
    # Filters for the largest thread, rings for the rest: common practice, no source.
    pack(client, *trio)
    page = text_of(client.get(KIT))
    assert "<strong>77 mm</strong> filter of 720 nm" in page
    assert "<strong>49 → 77 mm</strong>" in page and "<strong>67 → 77 mm</strong>" in page
    assert "as the trade advises, is the best answer for this bag" in page
    assert "never look at the sun" in page and "Don’t force a jammed ring" in page


def test_prices_make_the_cheapest_kit_and_are_kept(client, trio):
    pack(client, *trio[:2])
    fields = {"price-720-49": "15", "price-720-67": "60", "price-ring": "80", "price-currency": "EUR"}
    answer = client.post(KIT, fields, follow=True)
    page = text_of(answer)
    assert "To buy: 75.00 EUR" in page  # two filters rather than one and a ring of 80
    assert "would cost 140.00 EUR" in page
    assert "Best is" in page
    assert "To buy: 75.00" not in text_of(client.get(KIT, {"by": "pieces"}))
    client.post(KIT, {"forget": "1"})
    assert "EUR" not in text_of(client.get(KIT))


def test_a_price_that_is_none_is_refused_beside_its_field(client, trio):
    pack(client, *trio)
    answer = client.post(KIT, {"price-720-77": "-3", "price-rings": "from 49 to 77"})
    assert answer.status_code == 422
    assert "“from 49 to 77” is no ring with its price" in text_of(answer)
    assert 'id="id_price-720-77_error"' in text_of(answer)


def test_where_nothing_on_sale_fits_the_page_says_what_to_do(client, trio):
    pack(client, *trio)
    page = text_of(client.post(KIT, {"price-720-49": "15"}, follow=True))
    assert "no filter of 720 nm on sale or owned reaches its 77 mm thread" in page
    assert "plan without prices" in page


def test_a_diameter_that_no_lens_has_can_be_priced(client, trio):
    pack(client, *trio)
    assert 'name="price-720-82"' in text_of(client.get(KIT, {"size": "82"}))
    assert client.get(KIT, {"size": "wide"}).status_code == 200


def test_what_is_owned_costs_nothing(client, trio):
    pack(client, *trio[:2])
    add(client, "filter", cut_on_nm="720", diameter_mm="67")
    add(client, "ring", lens_side_mm="49", filter_side_mm="67")
    page = text_of(client.get(KIT))
    assert "Nothing to buy" in page and "Yours already" in page


def test_wishes_stand_in_the_address_and_bring_their_cautions(client, trio):
    pack(client, *trio)
    add(client, "filter", cut_on_nm="720", diameter_mm="67")
    page = text_of(client.get(KIT, {"narrower_by_mm": "10", "most_rings": "1"}))
    assert "narrower than the lens" in page and "may darken the corners" in page
    assert client.get(KIT, {"narrower_by_mm": "-4"}).status_code == 422


def test_only_owned_lenses_are_planned_for_on_request(client, trio):
    pack(client, *trio[:2])
    pack(client, trio[2], state="considered")
    assert "<strong>77 mm</strong>" not in text_of(client.get(KIT, {"lenses": "owned"}))


def test_a_camera_converted_to_my_cut_on_needs_no_filter(client, trio):
    pack(client, *trio)
    add(client, "body", label="Causey 5", conversion_nm="720")
    assert "your cameras pass these wavelengths by themselves" in text_of(client.get(KIT))


def test_a_hood_that_no_longer_fits_is_mentioned(client, trio):
    client.post(reverse("bag-lens", args=[trio[0].slug]), {"state": "owned", "hood": "on"})
    pack(client, trio[2])
    assert "its hood no longer fits over the 77 mm filter" in text_of(client.get(KIT))


def test_a_lens_without_a_thread_is_named_with_what_else_works(client, trio):
    fisheye = LensFactory(name="Marram 8 mm", filter_thread_mm=None, filter_seat="rear-holder")
    unknown = LensFactory(name="Marram 9 mm", filter_thread_mm=None)
    pack(client, *trio, fisheye, unknown)
    page = text_of(client.get(KIT))
    assert "A cut filter in its rear holder." in page
    assert reverse("lens-facts", args=[unknown.slug]) in page


# ---- the card ------------------------------------------------------------------------------------


def test_the_card_prints_limit_filter_ring_cut_on_date_and_method(client, trio):
    standing(trio[1], 8)
    pack(client, *trio)
    page = text_of(client.get(CARD))
    assert "Clean in infrared at 720 nm" in page and "method 20" in page
    assert "<strong>f/8</strong> <small>fair</small>" in page
    assert "77 mm*" in page and "67→77" in page
    assert "* not in the bag yet." in page


def test_the_card_is_for_lenses_owned_and_takes_those_considered_on_request(client, trio):
    pack(client, trio[0])
    pack(client, trio[2], state="considered")
    client.get(BAG)  # tells what was packed
    assert str(trio[2]) not in text_of(client.get(CARD))
    assert str(trio[2]) in text_of(client.get(CARD, {"all": "1"}))


def test_each_cut_on_has_a_card_of_its_own(client, trio):
    pack(client, *trio)
    add(client, "cut-on", cut_on_nm="720")
    add(client, "cut-on", cut_on_nm="830")
    assert "cut_on_nm=830" in text_of(client.get(CARD))
    assert "at 830 nm" in text_of(client.get(CARD, {"cut_on_nm": "830"}))
    assert client.get(CARD, {"cut_on_nm": "12"}).status_code == 422


def test_a_card_of_few_lenses_has_their_ladders_and_a_long_one_has_not(client, trio):
    pack(client, *trio)
    assert text_of(client.get(CARD)).count('class="ladder small"') == 3
    pack(client, *[LensFactory() for _ in range(12)])
    assert 'class="ladder' not in text_of(client.get(CARD))


def test_a_card_of_nothing_leads_to_the_bag(client):
    assert f'href="{BAG}"' in text_of(client.get(CARD))


# ---- what is used --------------------------------------------------------------------------------


def summary(*pictures):
    content = json.dumps(summary_of(pictures)).encode()
    return SimpleUploadedFile("use.json", content, content_type="application/json")


def shot(f_number, lens="Marram 35 mm f/1.4", focal=35):
    return KeptExif(lens_model=lens, focal_length_mm=focal, f_number=f_number)


def test_a_summary_tells_the_share_inside_the_clean_range(client, lens):
    standing(lens, 5.6)
    sent = summary(*[shot(4)] * 3, shot(11))
    page = text_of(client.post(USE, {"summary": sent}, follow=True))
    assert "<strong>75 %</strong> of 4 frames lie inside its clean range, 25 % past it" in page
    assert 'class="use-bar"' in page and "f/11" in page
    assert client.post(USE, {"pack": "no-such-lens"}).status_code == 404
    client.post(USE, {"pack": lens.slug})
    assert "75 % of my 4 frames with it lie inside its clean range." in text_of(client.get(BAG))
    client.post(USE, {"forget": "1"})
    assert "frames lie inside" not in text_of(client.get(USE))


def test_a_file_that_is_no_summary_is_refused_with_the_command_that_writes_one(client):
    sent = SimpleUploadedFile("holiday.json", b"{}", content_type="application/json")
    answer = client.post(USE, {"summary": sent})
    assert answer.status_code == 422
    assert "no summary of use" in text_of(answer) and "python -m registry.folder" in text_of(answer)


def test_a_name_the_catalogue_knows_twice_is_settled_by_its_owner(client, lens):
    newer = LensFactory(name=lens.name, slug="marram-35-ii", optical_revision="II")
    sent = summary(shot(8, lens="Marram 35 mm f/1.4 of mine"))
    page = text_of(client.post(USE, {"summary": sent}, follow=True))
    assert "Which lens is this?" in page and f'value="{newer.slug}"' in page
    client.post(USE, {"name": "Marram 35 mm f/1.4 of mine", "lens": newer.slug})
    page = text_of(client.get(USE))
    assert str(newer) in page and "Which lens is this?" not in page


def test_a_lens_that_was_not_offered_for_a_name_is_not_taken(client, lens):
    other = LensFactory(name="Samphire 300 mm f/4", focal_min_mm=300)
    client.post(USE, {"summary": summary(shot(8, lens="Marram 35 mm of mine"))})
    client.post(USE, {"name": "Marram 35 mm of mine", "lens": other.slug})
    assert str(other) not in text_of(client.get(USE))


# ---- one zoom or several primes ------------------------------------------------------------------


def test_without_a_zoom_the_page_asks_for_one_and_offers_those_of_the_bag(client, trio):
    pack(client, *trio)
    page = text_of(client.get(COMPARE))
    assert f"{COMPARE}?zoom={trio[2].slug}" in page


def test_a_zoom_is_set_beside_primes_of_its_mount(client, trio):
    fifty, wide, zoom = trio
    standing(zoom, 8, zone="33-47")
    standing(wide, 4)
    page = text_of(client.get(COMPARE, {"zoom": zoom.slug}))
    assert "Suggested" in page and str(fifty) in page and str(wide) in page
    assert "f/1.4 to f/4" in page and "to f/8" in page
    assert "Lens changes over the range" in page and "not known" in page
    assert "Filter 77 mm (720 nm), no ring" in page
    assert 'class="spans"' in page


def test_the_primes_can_be_chosen_and_stand_in_the_address(client, trio):
    fifty, wide, zoom = trio
    page = text_of(client.get(COMPARE, {"zoom": zoom.slug, "prime": [fifty.slug]}))
    assert str(wide) not in page and "wider than every prime" in page
    typed = client.get(COMPARE, {"zoom": zoom.slug, "prime": [fifty.slug], "prime_name": "marram 35"})
    assert typed["Location"].endswith(f"prime={fifty.slug}&prime={wide.slug}")
    assert "no prime named" in text_of(client.get(COMPARE, {"zoom": zoom.slug, "prime": "none"}))


def test_a_zoom_is_found_by_name_and_an_unknown_one_is_named(client, trio):
    found = client.get(COMPARE, {"zoom_name": "marram 24-70"})
    assert found["Location"] == f"{COMPARE}?zoom={trio[2].slug}"
    answer = client.get(COMPARE, {"zoom_name": "Zwjxq"})
    assert answer.status_code == 422 and "Zwjxq" in text_of(answer)


def test_my_tolerance_moves_the_comparison_and_stays_in_the_address(client, trio):
    page = text_of(client.get(COMPARE, {"zoom": trio[2].slug, "visible_ev": "0.2"}))
    assert "visible from 0.20 EV" in page and "visible_ev=0.2" in page


def test_a_prime_is_not_compared_with_primes(client, trio):
    answer = client.get(COMPARE, {"zoom": trio[0].slug})
    assert answer.status_code == 422
    assert "is a prime" in text_of(answer)


def test_an_unknown_lens_in_the_address_is_named_with_the_nearest(client, trio):
    answer = client.get(COMPARE, {"zoom": "osterby-maram"})
    assert answer.status_code == 404
    assert "Did you mean" in text_of(answer)
