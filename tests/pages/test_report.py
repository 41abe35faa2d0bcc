"""One report as everyone sees it, its pictures, and a contributor's list of their own."""

import pytest
from django.urls import reverse

from registry.reports import services
from tests.factories import AccountFactory
from tests.report_factories import ClaimFactory, ReportFactory

pytestmark = pytest.mark.django_db


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def submitted(measured_draft, contributor):
    return services.submit_report(report=measured_draft, by=contributor)


def page_of(client, report):
    return client.get(reverse("report", args=[report.public_id]))


def test_a_report_says_what_was_tested_with_what(client, submitted):
    page = text_of(page_of(client, submitted))
    for said in ("Osterby Marram 35 mm f/1.4", "720 nm", "Causey 2", "in front of the lens", "Wren"):
        assert said in page


def test_a_sweep_is_plotted_and_tabled(client, submitted):
    page = text_of(page_of(client, submitted))
    assert page.count('class="dot"') == 3 and page.count('class="whisker"') == 3
    assert "visible from here" in page
    assert page.count('<th scope="row">f/') == 3


def test_every_frame_is_shown_with_its_overlay_and_numbers(client, submitted):
    page = text_of(page_of(client, submitted))
    assert page.count('<li id="frame-') == 3 and page.count('<circle class="ring') == 6


def test_a_draft_does_not_exist_for_others(client, draft):
    assert page_of(client, draft).status_code == 404


def test_its_author_is_led_back_to_a_draft(signed_in, draft):
    assert page_of(signed_in, draft).url == reverse("report-frames", args=[draft.public_id])


def test_a_withdrawn_report_leaves_a_tombstone(client, submitted, contributor):
    services.withdraw_report(report=submitted, by=contributor, reason="wrong filter")
    response = page_of(client, submitted)
    assert response.status_code == 410
    assert "withdrawn" in text_of(response) and "<circle" not in text_of(response)


def test_a_set_aside_report_gives_the_reason(client, submitted):
    services.set_aside(report=submitted, by=AccountFactory(moderator=True), reason="a scene, not a target")
    assert "a scene, not a target" in text_of(page_of(client, submitted))


def test_a_relay_names_its_source_and_is_not_followed_by_search_engines(client):
    report = ReportFactory(relayed=True, cut_on_nm=720)
    ClaimFactory(report=report)
    services.submit_report(report=report, by=report.author)
    page = text_of(page_of(client, report))
    assert "tested by R. Samphire" in page and 'rel="nofollow ugc"' in page
    assert "Clean to f/8." in page


def test_a_relay_claims_no_filter_that_its_source_does_not_state(client):
    report = ReportFactory(relayed=True, cut_on_nm=720, filter=None, filter_position="")
    ClaimFactory(report=report)
    services.submit_report(report=report, by=report.author)
    assert "<dt>Filter</dt><dd>not stated</dd>" in text_of(page_of(client, report))


def test_notes_with_markup_are_shown_as_text(client, submitted):
    submitted.notes = "<script>alert(1)</script>"
    submitted.save()
    assert "<script>alert" not in page_of(client, submitted).content.decode()


def test_my_reports_lists_mine_only(signed_in, submitted):
    other = ReportFactory(grades={8: 0})
    services.submit_report(report=other, by=other.author)
    page = text_of(signed_in.get(reverse("my-reports")))
    assert submitted.public_id in page and other.public_id not in page


def test_no_reports_yet_says_what_to_do(signed_in):
    assert reverse("report-start") in text_of(signed_in.get(reverse("my-reports")))


# ---- pictures ------------------------------------------------------------------------------------


def picture_of(client, image, what="picture"):
    """The answer, with its body read whole in `body`; the test client closes a streamed file at its end."""
    response = client.get(reverse("image-picture", args=[getattr(image, what)]))
    response.body = b"".join(response.streaming_content) if response.streaming else response.content
    return response


def test_a_public_picture_can_only_be_shown(client, submitted):
    response = picture_of(client, submitted.images.first())
    assert response["Content-Type"] == "image/jpeg"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response["Content-Security-Policy"]
    assert "immutable" in response["Cache-Control"]
    assert response.body[:2] == b"\xff\xd8"  # JPEG begins with SOI (ITU-T T.81)


def test_a_drafts_pictures_are_its_authors_only(client, signed_in, measured_draft):
    image = measured_draft.images.first()
    response = picture_of(signed_in, image, "thumbnail")
    assert response.status_code == 200 and response["Cache-Control"].startswith("private")
    client.logout()
    assert picture_of(client, image).status_code == 404


@pytest.mark.parametrize(
    "name", ["../private/secret-key", "frames/../../secret-key", "nothing.jpg", "%2e%2e/secret-key"]
)
def test_nothing_but_frames_pictures_is_served(client, submitted, name):
    assert client.get(f"/pictures/{name}").status_code == 404


def test_what_is_kept_privately_is_not_served(signed_in, measured_draft):
    image = measured_draft.images.first()
    assert signed_in.get(f"/pictures/{image.kept}").status_code == 404
