"""The bag that an account keeps."""

import pytest
from django.db import IntegrityError, transaction

from registry.bags.contents import Bag, BagBody, Carried
from registry.bags.models import BagLens, KeptBag
from registry.bags.queries import bag_of, bodies_to_offer, lacking, packed
from registry.bags.services import change_bag, keep_bag
from registry.errors import InvalidInput
from registry.kits.bag import FrontFilter, Ring
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import RigFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner():
    return AccountFactory()


def test_an_account_that_packed_nothing_has_an_empty_bag_and_no_row(owner):
    assert bag_of(owner) == Bag()
    assert not KeptBag.objects.exists()


def test_a_bag_is_kept_in_the_order_it_was_packed(owner):
    slugs = [LensFactory().slug for _ in range(3)]
    for slug in reversed(slugs):
        change_bag(owner=owner, change=lambda bag, slug=slug: bag.with_lens(Carried(slug, hood=True)))
    assert bag_of(owner).slugs == tuple(reversed(slugs))
    assert bag_of(owner).lenses[0].hood


def test_a_change_that_is_refused_leaves_the_bag_as_it_was(owner):
    lens = LensFactory()
    change_bag(owner=owner, change=lambda bag: bag.with_lens(Carried(lens.slug)).with_cut_on(720))
    before = bag_of(owner)
    with pytest.raises(InvalidInput):
        change_bag(owner=owner, change=lambda bag: bag.without_lens(lens.slug).with_cut_on(5))
    assert bag_of(owner) == before


def test_what_was_packed_before_signing_in_joins_what_the_account_holds(owner):
    first, second = LensFactory(), LensFactory()
    change_bag(owner=owner, change=lambda bag: bag.with_lens(Carried(first.slug)))
    keep_bag(owner=owner, bag=Bag(lenses=(Carried(second.slug),), rings=(Ring(49.0, 67.0),)))
    assert bag_of(owner).slugs == (first.slug, second.slug)
    assert bag_of(owner).rings == (Ring(49.0, 67.0),)


def test_a_lens_that_the_catalogue_lacks_is_left_out(owner):
    known = LensFactory()
    kept = keep_bag(owner=owner, bag=Bag(lenses=(Carried("gone"), Carried(known.slug))))
    assert kept.slugs == (known.slug,)


def test_a_lens_that_leaves_the_catalogue_leaves_the_bag(owner):
    lens = LensFactory()
    change_bag(
        owner=owner, change=lambda bag: bag.with_lens(Carried(lens.slug)).with_filter(FrontFilter(720, 67))
    )
    lens.delete()
    assert bag_of(owner).slugs == ()
    assert bag_of(owner).filters == (FrontFilter(720.0, 67.0),)


def test_the_database_itself_holds_a_lens_once(owner):
    lens = LensFactory()
    change_bag(owner=owner, change=lambda bag: bag.with_lens(Carried(lens.slug)))
    kept = KeptBag.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        BagLens.objects.create(bag=kept, lens=lens, state="owned", place=5)
    with pytest.raises(IntegrityError), transaction.atomic():
        BagLens.objects.create(bag=kept, lens=LensFactory(), state="borrowed", place=5)


def test_rigs_are_offered_as_cameras_until_they_are_in_the_bag(owner):
    RigFactory(owner=owner, body=BodyFactory(name="Causey 2"), cut_on_nm=720)
    RigFactory(owner=owner, body=BodyFactory(name="Causey 3"), full_spectrum=True)
    RigFactory(owner=owner, conversion="band-pass", cut_on_nm=None)
    RigFactory()
    offered = bodies_to_offer(owner, Bag())
    assert {(body.label, body.conversion_nm) for body in offered} == {
        ("Osterby Causey 2", 720),
        ("Osterby Causey 3", None),
    }
    assert bodies_to_offer(owner, Bag(bodies=tuple(offered))) == []
    assert isinstance(offered[0], BagBody)


def test_the_rows_of_a_bag_take_as_many_statements_for_two_lenses_as_for_twenty(django_assert_num_queries):
    bag = Bag(lenses=tuple(Carried(LensFactory().slug) for _ in range(20)))
    with django_assert_num_queries(4):  # lenses, their mounts, and the standings at each of two cut-ons
        assert len(packed(bag, (720.0, 830.0), 0.1)) == 20
    with django_assert_num_queries(4):
        assert len(packed(Bag(lenses=bag.lenses[:2]), (720.0, 830.0), 0.1)) == 2


def test_what_a_bag_would_need_to_know_is_named():
    lens = LensFactory(filter_thread_mm=None, narrowest_f=None, mass_g=None)
    assert lacking(lens) == ("filter thread", "narrowest aperture", "mass")
    assert lacking(LensFactory(filter_thread_mm=None, filter_seat="rear-holder", mass_g=400)) == ()
