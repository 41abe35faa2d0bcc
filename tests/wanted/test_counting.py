"""Look-ups are counted where people look, and nothing of who looked is kept."""

import pytest
from django.urls import reverse

from registry.pages import look_ups
from registry.wanted.counting import LookUpBuffer
from registry.wanted.models import LookUpCount
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db
PERSON = {"User-Agent": "Mozilla/5.0 (X11; Linux x86_64) Firefox/140.0"}


@pytest.fixture
def lens():
    return LensFactory()


@pytest.fixture
def counted(monkeypatch):
    """Counts of what was looked up, once written."""
    buffer = LookUpBuffer()
    monkeypatch.setattr(look_ups, "buffer", buffer)

    def counts() -> dict[str, int]:
        buffer.write()
        return dict(LookUpCount.objects.values_list("cut_on_group", "count"))

    return counts


def open_page(client, lens, query=None, **headers):
    return client.get(reverse("lens", args=[lens.slug]), query, headers=PERSON | headers)


def test_opening_a_lenss_page_counts_at_the_readers_cut_on(client, lens, counted):
    open_page(client, lens)
    open_page(client, lens, {"cut_on_nm": "830"})
    client.post(reverse("my-camera"), {"cut_on_nm": "590"})
    open_page(client, lens)
    assert counted() == {"700-780": 1, "780-up": 1, "under-640": 1}


def test_a_page_that_the_reader_holds_already_counts_too(client, lens, counted):
    held = open_page(client, lens).headers.get("ETag", "")
    open_page(client, lens, **({"If-None-Match": held} if held else {}))
    assert counted() == {"700-780": 2}


@pytest.mark.parametrize(
    "headers",
    [
        {"User-Agent": "ExampleBot/2.1"},
        {"User-Agent": "python-httpx/0.28"},
        {"User-Agent": ""},
        {"Sec-Purpose": "prefetch"},
        {"HX-Request": "true"},
    ],
)
def test_what_no_person_opened_does_not_count(client, lens, counted, headers):
    open_page(client, lens, **headers)
    assert counted() == {}


def test_other_pages_and_lenses_that_are_not_there_do_not_count(client, lens, counted):
    client.get(reverse("home"), headers=PERSON)
    client.get(reverse("lens", args=["no-such-lens"]), headers=PERSON)
    assert counted() == {}


def test_counts_are_written_together_when_the_time_is_over(lens, django_assert_num_queries):
    buffer = LookUpBuffer()
    with django_assert_num_queries(0):
        for _ in range(50):
            buffer.note(lens.slug, "700-780", every_seconds=60)
    buffer.note(lens.slug, "700-780", every_seconds=0)
    assert LookUpCount.objects.get().count == 51
    buffer.write()
    assert LookUpCount.objects.get().count == 51
