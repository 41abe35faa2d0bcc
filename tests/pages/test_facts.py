"""What the catalogue lacks of a lens is asked for, with a source, and kept."""

import pytest
from django.urls import reverse

from registry.gear.models import FactSource
from registry.wanted.models import LookUpCount
from tests.factories import AccountFactory, LensFactory, MountFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(filter_thread_mm=None, narrowest_f=None, mass_g=410)


def complete(client, lens, **typed):
    client.force_login(AccountFactory(name="Wren"))
    return client.post(reverse("lens-facts", args=[lens.slug]), typed)


def test_a_reader_fills_in_what_is_lacking_with_its_source(client, lens):
    answer = complete(client, lens, filter_thread_mm="67", narrowest_f="16", source="Read off the lens")
    assert answer.url == reverse("lens", args=[lens.slug])
    lens.refresh_from_db()
    assert (lens.filter_thread_mm, lens.narrowest_f) == (67, 16)
    told = set(FactSource.objects.values_list("fact", "source", "added_by__name"))
    assert told == {(fact, "Read off the lens", "Wren") for fact in ("filter_thread_mm", "narrowest_f")}


def test_a_lens_without_a_front_thread_says_where_a_filter_goes(client, lens):
    complete(client, lens, filter_seat="rear-holder", source="Its handbook")
    lens.refresh_from_db()
    assert lens.filter_seat == "rear-holder"
    assert "filter_thread_mm" not in client.get(reverse("lens-facts", args=[lens.slug])).content.decode()


def test_facts_without_a_source_are_not_taken_and_nothing_typed_is_lost(client, lens):
    answer = complete(client, lens, filter_thread_mm="67", source="")
    assert answer.status_code == 422
    assert 'value="67"' in answer.content.decode()
    lens.refresh_from_db()
    assert lens.filter_thread_mm is None


def test_what_no_lens_can_have_is_refused_beside_its_field(client, lens):
    answer = complete(client, lens, narrowest_f="wide", mass_g="1", source="Read off the lens")
    assert answer.status_code == 422
    assert answer.context["form"].errors["narrowest_f"]
    assert not FactSource.objects.exists()


def test_an_empty_form_asks_for_a_fact(client, lens):
    answer = complete(client, lens, source="Read off the lens")
    assert "Nothing was filled in" in answer.content.decode()


def test_what_is_stated_is_not_asked_for(client, lens):
    client.force_login(AccountFactory())
    assert 'name="mass_g"' not in client.get(reverse("lens-facts", args=[lens.slug])).content.decode()


def test_the_list_names_what_lacks_most_asked_for_first(client, lens):
    lens.mounts.add(MountFactory(name="Plover", slug="plover"))
    asked = LensFactory(filter_thread_mm=None)
    LensFactory(filter_thread_mm=52, narrowest_f=16, mass_g=300).mounts.add(MountFactory())
    LookUpCount.objects.create(lens=asked, cut_on_group="nir", day="2026-11-01", count=9)
    answer = client.get(reverse("missing-facts"))
    rows = answer.context["rows"]
    assert [row[0] for row in rows] == [asked, lens]
    assert rows[1][1][:2] == ["filter_thread_mm", "narrowest_f"]
    assert [row[0] for row in client.get(reverse("missing-facts"), {"mount": "plover"}).context["rows"]] == [
        lens
    ]


def test_an_unknown_mount_is_refused_with_the_known_ones(client, lens):
    MountFactory(name="Teal")
    answer = client.get(reverse("missing-facts"), {"mount": "teel"})
    assert answer.status_code == 404 and "teal" in answer.content.decode().lower()
