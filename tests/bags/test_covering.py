"""One zoom or several primes."""

from itertools import pairwise

import pytest

from registry.bags.contents import Bag, BagBody
from registry.bags.covering import compare, focal_lengths, suggest_primes
from registry.errors import InvalidInput, TooLarge
from registry.kits.bag import FrontFilter
from tests.bags.standings import standing
from tests.factories import LensFactory, MountFactory

pytestmark = pytest.mark.django_db


def prime(focal, *, clean_to=None, zone=None, **facts):
    lens = LensFactory(focal_min_mm=focal, widest_f=facts.pop("widest_f", 1.4), **facts)
    if zone:
        standing(lens, clean_to, zone=zone)
    return lens


@pytest.fixture
def zoom():
    lens = LensFactory(
        zoom=True,
        name="Marram 24-70 mm f/2.8",
        widest_f=2.8,
        widest_f_tele=2.8,
        filter_thread_mm=82,
        mass_g=800,
    )
    standing(lens, 8, zone="23-33")
    standing(lens, None, zone="33-47")
    return lens


def test_the_range_is_compared_at_its_ends_the_primes_own_and_the_usual_focal_lengths(zoom):
    assert focal_lengths(zoom) == [24, 28, 35, 50, 70]
    assert focal_lengths(zoom, [prime(40), prime(55), prime(90)]) == [24, 28, 35, 40, 50, 55, 70]


def test_each_focal_length_tells_both_clean_ranges(zoom):
    told = compare(zoom, [prime(35, clean_to=11, zone="33-47")], cut_on_nm=720)
    at = {step.focal_mm: step for step in told.steps}
    assert (at[24].zoom.widest_f, at[24].zoom.clean_to, at[24].zoom.chance) == (2.8, 8, 0.9)
    assert (at[35].zoom.clean_to, at[35].zoom.words) == (None, "never clean")
    assert (at[35].prime.widest_f, at[35].prime.clean_to) == (1.4, 11)
    assert at[35].prime.stops == 6  # f/1.4 to f/11
    assert not at[50].zoom.tested


def test_between_primes_the_shorter_one_is_cropped_by_the_square_of_the_ratio(zoom):
    told = compare(zoom, [prime(35), prime(50)], cut_on_nm=720)
    at = {step.focal_mm: step for step in told.steps}
    assert at[24].prime is None
    assert at[70].prime.focal_mm == 50
    assert at[70].kept_share == pytest.approx((50 / 70) ** 2)
    assert at[35].kept_share == 1


def test_a_crop_does_not_count_as_framed_and_clean(zoom):
    told = compare(zoom, [prime(24, clean_to=11, zone="23-33")], cut_on_nm=720)
    assert (told.zoom.clean_at, told.primes.clean_at, told.primes.of) == (2, 1, 5)


def test_mass_that_nobody_stated_is_said_to_be_unknown(zoom):
    unknown = prime(50, mass_g=None)
    told = compare(zoom, [prime(35, mass_g=300), unknown], cut_on_nm=720)
    assert (told.zoom.mass_g, told.zoom.mass_unknown) == (800, ())
    assert (told.primes.mass_g, told.primes.mass_unknown) == (300, (unknown,))


def test_the_range_takes_one_change_of_lens_less_than_there_are_lenses(zoom):
    told = compare(zoom, [prime(24), prime(35), prime(50)], cut_on_nm=720)
    assert (told.zoom.changes, told.primes.changes) == (0, 2)


def test_each_side_is_planned_with_what_the_bag_has(zoom):
    primes = [prime(35, filter_thread_mm=49), prime(50, filter_thread_mm=67)]
    bag = Bag(filters=(FrontFilter(720.0, 67.0),))
    told = compare(zoom, primes, cut_on_nm=720, bag=bag)
    assert (told.zoom.plan.kit.filters_to_buy, told.zoom.plan.kit.rings_to_buy) == (1, 0)
    assert (told.primes.plan.kit.filters_to_buy, told.primes.plan.kit.rings_to_buy) == (0, 1)
    converted = compare(zoom, primes, cut_on_nm=720, bag=Bag(bodies=(BagBody("Causey", 720.0),)))
    assert converted.primes.plan.kit.uses == ()


def test_primes_of_the_mount_are_suggested_the_cleanest_of_each_zone(zoom):
    hot, clean = prime(35, clean_to=2.8, zone="33-47"), prime(40, clean_to=11, zone="33-47")
    prime(50, clean_to=16, zone="47-66", mounts=[MountFactory(name="Plover")])
    prime(135)
    fifty = prime(50)
    assert suggest_primes(zoom, cut_on_nm=720) == [clean, fifty]
    assert hot not in suggest_primes(zoom, cut_on_nm=720)


def test_of_many_zones_those_kept_lie_apart(zoom):
    wide = LensFactory(zoom=True, name="Marram 14-400 mm", focal_min_mm=14, focal_max_mm=400)
    for focal in (14, 20, 28, 35, 50, 85, 100, 135, 200, 300, 400):
        prime(focal)
    chosen = [lens.focal_min_mm for lens in suggest_primes(wide, cut_on_nm=720, most=4)]
    assert len(chosen) == 4
    ratios = [longer / shorter for shorter, longer in pairwise(chosen)]
    assert min(ratios) > 1.6


def test_a_prime_is_no_zoom_and_a_zoom_no_prime(zoom):
    with pytest.raises(InvalidInput, match="is a prime"):
        compare(prime(35), [], cut_on_nm=720)
    with pytest.raises(InvalidInput, match="is a zoom"):
        compare(zoom, [zoom], cut_on_nm=720)
    with pytest.raises(TooLarge):
        compare(zoom, [prime(24 + number) for number in range(9)], cut_on_nm=720)


def test_a_zoom_clean_only_at_stops_that_its_long_end_does_not_reach_is_not_clean_there():
    slow = LensFactory(zoom=True, name="Marram 24-200 mm", focal_max_mm=200, widest_f=2.8, widest_f_tele=5.6)
    standing(slow, 2.8, zone="187-264")
    told = compare(slow, [], cut_on_nm=720)
    assert told.steps[-1].zoom.clean_to is None
    assert told.steps[-1].zoom.words == "clean to f/2.8"
