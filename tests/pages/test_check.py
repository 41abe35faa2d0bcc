"""The check page: what was measured beside what its author says, and grades beside reference pictures."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from registry.photometry.measurement import Measurement, Refusal
from registry.reports import services
from registry.reports.models import OwnSummary
from tests.pages.conftest import measurement, store_measured

pytestmark = pytest.mark.django_db

TILTED = Measurement(
    status="rejected",
    refusal=Refusal(
        "tilted", 1.5, 0.42, "EV", "The light falls off by 1.50 EV to one side: turn the target."
    ),
)


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def address(name, report, *more):
    return reverse(name, args=[report.public_id, *more])


def shown(client, report) -> str:
    return text_of(client.get(address("report-check", report)))


@pytest.fixture
def refused_draft(measured_draft):
    """Three measured frames, and two that could not be judged."""
    for f_number in (5.6, 11):
        store_measured(measured_draft, f_number, TILTED)
    measured_draft.refresh_from_db()
    return measured_draft


def refused_of(draft):
    return list(draft.images.filter(state="rejected").order_by("f_number"))


def test_each_sweep_has_a_plot_and_a_table_with_intervals(signed_in, measured_draft):
    page = shown(signed_in, measured_draft)
    assert "At 35 mm" in page and "Excess in EV against aperture, with 95 % intervals" in page
    # 1.96 standard errors of 0.02 EV on either side (the 97.5 % point of the normal distribution)
    assert "0.37 to 0.45" in page and "0.00 to 0.05" in page
    assert page.count("<td>visible</td>") == 2 and page.count("<td>not visible</td>") == 1


def test_too_few_stops_for_a_sweep_are_pointed_out(signed_in, measured_draft):
    assert "Fewer than four stops" in shown(signed_in, measured_draft)


def test_announced_frames_that_have_not_arrived_are_named(signed_in, contributor, measured_draft):
    assert "have not arrived" not in shown(signed_in, measured_draft)
    late = {"name": "DSC_0412.jpg", "size": 9, "sha256": "ab" * 32}
    services.announce_frames(report=measured_draft, by=contributor, files=[late])
    page = shown(signed_in, measured_draft)
    assert "1 of 4 frames have not arrived yet" in page and "DSC_0412.jpg" in page


def test_refused_frames_stand_together_with_their_reason_and_the_reference_pictures(signed_in, refused_draft):
    page = shown(signed_in, refused_draft)
    assert "2 frames could not be judged" in page
    section = page[page.index('id="refused"') : page.index("Keep these grades")]
    assert section.count("turn the target") == 2
    for grade in range(5):
        assert section.count(f'src="{reverse("reference-picture", args=[grade])}"') == 2


def test_all_refused_frames_are_graded_in_one_go(signed_in, refused_draft):
    one, two = refused_of(refused_draft)
    sent = {f"grade-{one.public_id}": "0", f"grade-{two.public_id}": "3"}
    answer = signed_in.post(address("report-grade-frames", refused_draft), sent)
    assert answer.url.endswith("#refused")
    assert [image.grade for image in refused_of(refused_draft)] == [0, 3]
    assert "graded by eye: <strong>3</strong>" in shown(signed_in, refused_draft)


def test_a_grade_that_is_none_is_refused_and_the_others_wait_for_it(signed_in, refused_draft):
    one, two = refused_of(refused_draft)
    sent = {f"grade-{one.public_id}": "2", f"grade-{two.public_id}": "7"}
    answer = signed_in.post(address("report-grade-frames", refused_draft), sent)
    page = text_of(answer)
    assert answer.status_code == 422 and "“7”" in page
    assert f'name="grade-{one.public_id}" value="2" checked' in page
    assert [image.grade for image in refused_of(refused_draft)] == [None, None]


def test_correcting_an_f_number_leaves_the_grade_alone(signed_in, refused_draft):
    one, _ = refused_of(refused_draft)
    one.grade = 2
    one.save()
    sent = {"f_number": "6.3", "focal_length_mm": "35"}
    signed_in.post(address("report-frame", refused_draft, one.public_id), sent)
    one.refresh_from_db()
    assert (one.f_number, one.grade) == (6.3, 2)


def test_ones_own_word_is_asked_for_and_may_be_left_open(signed_in, measured_draft, drain):
    page = shown(signed_in, measured_draft)
    assert "First your own word" in page
    assert page.index("First your own word") < page.index("At 35 mm")
    signed_in.post(address("report-submit", measured_draft))
    measured_draft.refresh_from_db()
    assert measured_draft.state == "submitted" and not OwnSummary.objects.exists()


def test_a_summary_that_agrees_goes_in_and_is_shown_with_the_report(signed_in, measured_draft):
    signed_in.post(address("report-submit", measured_draft), {"says": "clean_to", "f_number": "4"})
    measured_draft.refresh_from_db()
    assert measured_draft.state == "submitted"
    assert "own summary: <strong>clean to f/4</strong>" in text_of(
        signed_in.get(address("report", measured_draft))
    )


def test_a_contradiction_is_asked_about_before_it_goes_in(signed_in, measured_draft):
    answer = signed_in.post(address("report-submit", measured_draft), {"says": "clean_to", "f_number": "16"})
    page = text_of(answer)
    assert answer.status_code == 422
    assert "One question before it goes in" in page
    assert "You say <strong>clean to f/16</strong>. At f/8 (35 mm) a patch of 0.17 EV was measured" in page
    measured_draft.refresh_from_db()
    assert measured_draft.state == "draft"


def test_who_looked_again_may_stand_by_it_and_the_answer_is_kept(signed_in, measured_draft):
    said = {"says": "clean_to", "f_number": "16", "stands": "on", "answer": "Nothing shows in a print"}
    signed_in.post(address("report-submit", measured_draft), said)
    measured_draft.refresh_from_db()
    assert measured_draft.state == "submitted"
    page = text_of(signed_in.get(address("report", measured_draft)))
    assert "They looked again and stand by it: “Nothing shows in a print”" in page


def test_who_corrects_it_is_not_asked_again(signed_in, measured_draft):
    signed_in.post(address("report-submit", measured_draft), {"says": "clean_all"})
    signed_in.post(address("report-submit", measured_draft), {"says": "hot_from", "f_number": "8"})
    measured_draft.refresh_from_db()
    assert measured_draft.state == "submitted"


def test_comparing_keeps_the_summary_and_the_other_traits_without_submitting(signed_in, measured_draft):
    sent = {"says": "clean_all", "flare": "2", "keep": "1"}
    answer = signed_in.post(address("report-submit", measured_draft), sent)
    assert answer.url.endswith("#summary")
    page = shown(signed_in, measured_draft)
    assert "You say <strong>clean throughout</strong>" in page
    assert 'value="clean_all" class="settles" checked' in page
    assert measured_draft.findings.get().grade == 2


def test_what_was_stood_by_can_be_taken_back(signed_in, measured_draft):
    said = {"says": "clean_all", "keep": "1"}
    signed_in.post(address("report-submit", measured_draft), said | {"stands": "on"})
    assert OwnSummary.objects.get().stands
    signed_in.post(address("report-submit", measured_draft), said)
    assert not OwnSummary.objects.get().stands


@pytest.mark.parametrize(("stop", "told"), [("", "is missing"), ("7.7", "Did you mean f/7.1 or f/8?")])
def test_a_stop_that_can_not_be_is_told_beside_its_field_and_nothing_is_lost(
    signed_in, measured_draft, stop, told
):
    sent = {"says": "clean_to", "f_number": stop, "flare": "3", "answer": "sure"}
    answer = signed_in.post(address("report-submit", measured_draft), sent)
    page = text_of(answer)
    assert answer.status_code == 422
    field = page[page.index('id="id_f_number"') : page.index("Compare with what was measured")]
    assert told in field and f'value="{stop}"' in field
    assert 'value="clean_to" checked' in page
    assert '<option value="3" selected>' in page[page.index('name="flare"') :]


def test_a_report_that_waits_for_its_frames_asks_once_they_are_through(signed_in, measured_draft):
    """It was to go in by itself, and its summary turned out to be contradicted."""
    from registry.reports.services.submission import enter_when_ready

    signed_in.post(address("report-submit", measured_draft), {"says": "clean_all", "keep": "1"})
    measured_draft.refresh_from_db()
    measured_draft.submit_when_measured = True
    enter_when_ready(measured_draft)
    measured_draft.refresh_from_db()
    assert measured_draft.state == "draft"
    assert "You say <strong>clean throughout</strong>" in shown(signed_in, measured_draft)
    assert "You say “clean throughout”" in text_of(signed_in.get(reverse("my-reports")))


def test_a_control_and_a_proof_picture_stand_apart_and_are_not_graded(signed_in, measured_draft):
    control = store_measured(measured_draft, 8, measurement(0.0))
    control.purpose = "control"
    control.save()
    page = shown(signed_in, measured_draft)
    apart = page[page.index("Control and proof pictures") :]
    assert control.public_id in apart and "Graded by eye" not in apart[: apart.index("<h2>Submit")]


def test_the_page_asks_the_database_no_more_for_more_frames(
    signed_in, measured_draft, django_assert_max_num_queries
):
    with CaptureQueriesContext(connection) as few:
        shown(signed_in, measured_draft)
    for number, f_number in enumerate((2, 2.8, 5.6, 11) * 5):
        store_measured(measured_draft, f_number, measurement(0.01 * number))
    measured_draft.sweeps_due = []
    measured_draft.save()
    with django_assert_max_num_queries(len(few)):
        shown(signed_in, measured_draft)
