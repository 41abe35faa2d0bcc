"""After submitting: waiting for the standing that a report changes, or for word why it could not go in."""

import pytest
from django.urls import reverse

from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def address(name, report):
    return reverse(name, args=[report.public_id])


def test_the_lens_page_asks_again_until_the_new_standing_is_there(signed_in, measured_draft, drain):
    after = signed_in.post(address("report-submit", measured_draft)).url
    waiting = text_of(signed_in.get(after))
    assert "is being worked out" in waiting and 'hx-trigger="load delay:2s"' in waiting
    assert "<noscript>Reload this page" in waiting
    drain()
    done = text_of(signed_in.get(after))
    assert "this is the standing with it" in done and "load delay" not in done


def test_after_a_minute_it_stops_asking(signed_in, measured_draft):
    after = signed_in.post(address("report-submit", measured_draft)).url
    late = text_of(signed_in.get(f"{after}&asked=30"))
    assert "reload this page later" in late and "load delay" not in late


@pytest.mark.parametrize("asked", ["-1", "x", "99999999999999999999999"])
def test_a_made_up_count_of_questions_is_taken_as_the_last(signed_in, measured_draft, asked):
    after = signed_in.post(address("report-submit", measured_draft)).url
    assert "load delay" not in text_of(signed_in.get(f"{after}&asked={asked}"))


def test_nobody_else_learns_of_a_report_that_waits(client, measured_draft):
    measured_draft.submit_when_measured = True
    measured_draft.save()
    client.force_login(AccountFactory())
    asked = {"report": measured_draft.public_id}
    page = text_of(client.get(reverse("lens", args=[measured_draft.lens.slug]), asked))
    assert "goes in as soon as" not in page


@pytest.fixture
def stuck(measured_draft):
    """A draft that was to go in by itself and could not."""
    measured_draft.filter_position = ""
    measured_draft.submit_problems = [
        {"code": "x", "says": "Where it sat is missing.", "remedy": "Say where.", "field": "", "value": ""}
    ]
    measured_draft.save()
    return measured_draft


def test_why_a_waiting_draft_could_not_go_in_is_said_where_its_author_looks(signed_in, stuck):
    assert "It could not go in by itself" in text_of(signed_in.get(address("report-check", stuck)))
    assert "Where it sat is missing." in text_of(signed_in.get(reverse("my-reports")))
    lens_page = reverse("lens", args=[stuck.lens.slug])
    assert "could not go in" in text_of(signed_in.get(lens_page, {"report": stuck.public_id}))


def test_what_is_mended_since_is_said_to_be(signed_in, stuck):
    stuck.filter_position = "front"
    stuck.save()
    assert "That is mended now" in text_of(signed_in.get(address("report-check", stuck)))
