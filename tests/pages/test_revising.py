"""Changing or taking back one's own report."""

import pytest
from django.test import Client
from django.urls import reverse

from registry.ledger.models import Event
from registry.reports import services
from registry.reports.models import OwnSummary
from tests.factories import AccountFactory
from tests.pages.conftest import measurement
from tests.report_factories import ClaimFactory, ReportFactory, RigFactory

pytestmark = pytest.mark.django_db


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def address(name, report):
    return reverse(name, args=[report.public_id])


@pytest.fixture
def graded(contributor, lens):
    """A submitted report by eye."""
    report = ReportFactory(
        lens=lens, author=contributor, rig=RigFactory(owner=contributor), grades={4: 0, 8: 0, 16: 3}
    )
    return services.submit_report(report=report, by=contributor)


@pytest.fixture
def measured(measured_draft, contributor):
    return services.submit_report(report=measured_draft, by=contributor)


def filled_in(page) -> dict:
    """What a browser would send of the revision form as it stands."""
    revision = page.context["revision"]
    sent = {}
    for form in revision:
        for field in form:
            value = field.value()
            if value not in (None, "", False):
                sent[field.html_name] = value
    return sent


def revised(client, report, reason="looked again", **changes):
    sent = filled_in(client.get(address("report-revise", report)))
    response = client.post(address("report-revise", report), sent | {"why-reason": reason} | changes)
    report.refresh_from_db()
    return response


def reading_of(report, f_number):
    return report.sweeps.get().readings.get(f_number=f_number)


def test_a_grade_is_corrected_and_what_it_was_is_kept(signed_in, graded, drain):
    name = f"reading-{reading_of(graded, 8).pk}-grade"
    response = revised(signed_in, graded, "misread f/8", **{name: "2"})
    assert response.url == address("report", graded)
    assert reading_of(graded, 8).grade == 2
    page = text_of(signed_in.get(response.url))
    assert "Revision 1, until" in page and "changed by Wren: misread f/8" in page
    drain()
    assert "clean to f/4" in text_of(signed_in.get(reverse("lens", args=[graded.lens.slug])))


def test_a_reading_is_taken_out(signed_in, graded):
    revised(signed_in, graded, **{f"reading-{reading_of(graded, 16).pk}-remove": "on"})
    assert sorted(graded.sweeps.get().readings.values_list("f_number", flat=True)) == [4, 8]


def test_without_a_reason_nothing_changes_and_nothing_is_lost(signed_in, graded):
    name = f"reading-{reading_of(graded, 8).pk}-grade"
    response = revised(signed_in, graded, reason="", **{name: "4"})
    page = text_of(response)
    assert response.status_code == 422 and "The reason is missing." in page
    assert 'value="4" selected' in page and graded.revision == 1


def test_an_f_number_no_lens_shows_is_questioned_at_its_reading(signed_in, graded):
    reading = reading_of(graded, 8)
    response = revised(signed_in, graded, **{f"reading-{reading.pk}-f_number": "7.7"})
    assert response.status_code == 422
    assert f'id="id_reading-{reading.pk}-f_number_error"' in text_of(response)


def test_details_change_with_the_rest_left_as_it_was(signed_in, graded):
    revised(signed_in, graded, target="a grey card")
    assert (graded.target, graded.revision, graded.cut_on_nm) == ("a grey card", 2, 720)
    assert graded.sweeps.get().readings.count() == 3


def test_a_frames_grade_is_added_and_every_frame_stays(signed_in, measured):
    image = measured.images.first()
    revised(signed_in, measured, **{f"frame-{image.public_id}-grade": "3"})
    image.refresh_from_db()
    assert image.grade == 3 and measured.images.count() == 3


def test_a_frames_f_number_is_corrected_and_it_is_measured_again(signed_in, measured):
    image = measured.images.get(f_number=8)
    revised(signed_in, measured, **{f"frame-{image.public_id}-f_number": "11"})
    image.refresh_from_db()
    assert (image.f_number, measured.revision) == (11, 2)


def test_a_claim_is_added(signed_in, graded):
    revised(signed_in, graded, **{"claim-0-says": "clean_to", "claim-0-f_number": "8"})
    assert graded.claims.get().f_number == 8


def test_ones_own_summary_is_changed(signed_in, measured):
    revised(signed_in, measured, **{"own-says": "clean_to", "own-f_number": "4"})
    assert (measured.own_summary.says, measured.own_summary.f_number) == ("clean_to", 4)
    assert measured.revisions.get().content["own_summary"] is None


def test_a_summary_that_the_measurement_contradicts_is_asked_about_before_the_revision_is_taken(
    signed_in, measured
):
    asked = revised(signed_in, measured, **{"own-says": "clean_all"})
    assert asked.status_code == 422 and "At f/8 (35 mm) a patch of 0.17 EV was measured" in text_of(asked)
    assert measured.revision == 1 and not OwnSummary.objects.exists()
    answer = {"own-stands": "on", "own-answer": "no print shows it"}
    revised(signed_in, measured, **{"own-says": "clean_all"}, **answer)
    assert (measured.revision, measured.own_summary.answer) == (2, "no print shows it")


def test_a_summary_that_was_stood_by_is_not_asked_about_again(signed_in, measured):
    revised(signed_in, measured, **{"own-says": "clean_all", "own-stands": "on", "own-answer": "sure"})
    revised(signed_in, measured, target="a grey card")
    assert (measured.target, measured.revision) == ("a grey card", 3)
    assert (measured.own_summary.stands, measured.own_summary.answer) == (True, "sure")


def test_a_summary_said_anew_is_to_be_stood_by_anew(signed_in, measured):
    revised(signed_in, measured, **{"own-says": "clean_all", "own-stands": "on"})
    assert revised(signed_in, measured, **{"own-says": "hot_all"}).status_code == 422
    revised(signed_in, measured, **{"own-says": ""})
    assert not OwnSummary.objects.exists()


def test_a_summary_without_its_stop_is_told_at_the_stop(signed_in, measured):
    page = text_of(revised(signed_in, measured, **{"own-says": "clean_to"}))
    assert 'id="id_own-f_number_error"' in page


def test_its_author_is_told_when_frames_measured_anew_contradict_the_summary(signed_in, measured):
    revised(signed_in, measured, **{"own-says": "clean_to", "own-f_number": "4"})
    image = measured.images.get(f_number=4)
    services.record_measurement(image=image, measurement=measurement(0.3))
    page = text_of(signed_in.get(address("report", measured)))
    assert "At f/4 (35 mm) a patch of 0.30 EV was measured" in page and "Answer in a revision" in page
    assert "Answer in a revision" not in text_of(Client().get(address("report", measured)))


def test_a_relay_is_revised_by_whoever_passed_it_on(signed_in, contributor, lens):
    relay = ReportFactory(relayed=True, author=contributor, lens=lens, cut_on_nm=720)
    ClaimFactory(report=relay)
    services.submit_report(report=relay, by=contributor)
    revised(signed_in, relay, tester_name="S. Glasswort", **{"claim-0-f_number": "11"})
    assert relay.tester_name == "S. Glasswort" and relay.claims.get().f_number == 11


def test_a_revision_of_an_outdated_state_is_refused(signed_in, graded):
    sent = filled_in(signed_in.get(address("report-revise", graded)))
    revised(signed_in, graded, target="a grey card")
    late = signed_in.post(
        address("report-revise", graded), sent | {"why-reason": "late", "target": "a white wall"}
    )
    assert late.status_code == 409 and "a white wall" in text_of(late)
    graded.refresh_from_db()
    assert graded.target == "a grey card"


def test_a_withdrawn_report_leaves_a_tombstone_and_no_longer_counts(signed_in, client, graded, drain):
    response = signed_in.post(address("report-withdraw", graded), {"reason": "wrong filter"})
    tombstone = signed_in.get(response.url)
    assert tombstone.status_code == 410 and "wrong filter" in text_of(tombstone)
    assert address("report-revise", graded) not in text_of(tombstone)
    drain()
    assert "Nobody has reported this lens" in text_of(client.get(reverse("lens", args=[graded.lens.slug])))


def test_withdrawing_needs_a_reason(signed_in, graded):
    response = signed_in.post(address("report-withdraw", graded), {"reason": " "})
    assert response.status_code == 422 and "The reason is missing." in text_of(response)
    graded.refresh_from_db()
    assert graded.state == "submitted"


def test_a_withdrawn_report_is_revised_no_more(signed_in, graded):
    signed_in.post(address("report-withdraw", graded), {"reason": "wrong filter"})
    assert signed_in.get(address("report-revise", graded)).url == address("report", graded)


def test_withdrawing_is_not_done_by_following_a_link(signed_in, graded):
    assert signed_in.get(address("report-withdraw", graded)).url == address("report", graded)
    assert not Event.objects.filter(name="report.withdrawn").exists()


def test_nobody_changes_someone_elses_report(client, graded):
    client.force_login(AccountFactory())
    assert address("report-revise", graded) not in text_of(client.get(address("report", graded)))
    assert client.get(address("report-revise", graded)).status_code == 404
    assert client.post(address("report-withdraw", graded), {"reason": "x"}).status_code == 404


def test_a_draft_is_worked_on_rather_than_revised(signed_in, draft):
    assert signed_in.get(address("report-revise", draft)).url == address("report-frames", draft)
