"""Reports without frames: stops graded by eye, and results that others have published."""

import pytest
from django.urls import reverse

from registry.reports import services
from registry.reports.models import Report
from tests.factories import AccountFactory, LensFactory, TeleconverterFactory

pytestmark = pytest.mark.django_db
RELAY = reverse("report-relay")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def address(name, report):
    return reverse(name, args=[report.public_id])


# ---- graded by eye -------------------------------------------------------------------------------


@pytest.fixture
def graded(signed_in, typed):
    """A draft begun as graded by eye."""
    begun = signed_in.post(reverse("report-start"), typed | {"basis": "graded"})
    report = Report.objects.get()
    assert begun.url == address("report-grades", report)
    return report


def kept(report):
    return {
        sweep.focal_length_mm: {reading.f_number: reading.grade for reading in sweep.readings.all()}
        for sweep in report.sweeps.all()
    }


def test_the_table_lists_the_lens_stops_with_what_each_grade_looks_like(signed_in, graded):
    page = text_of(signed_in.get(address("report-grades", graded)))
    assert [f'scope="row">{mark}<' in page for mark in ("f/1.4", "f/2", "f/8", "f/16")] == [True] * 4
    for grade in range(5):
        assert reverse("reference-picture", args=[grade]) in page
    assert "f/8: grade 2" in page and "Focal length" not in page


def test_grades_are_kept_and_a_stop_between_too(signed_in, graded):
    grades = {"grade_0": "0", "grade_5": "2", "stop_0": "6.3", "between_0": "1"}
    response = signed_in.post(address("report-grades", graded), grades)
    assert response.url == address("report-check", graded)
    assert kept(graded) == {35: {1.4: 0, 6.3: 1, 8: 2}}
    check = text_of(signed_in.get(response.url))
    assert "Graded by eye:" in check and "f/8: <strong>2</strong>" in check


def test_grades_can_be_changed_where_they_were(signed_in, graded):
    signed_in.post(address("report-grades", graded), {"grade_0": "0", "stop_0": "6.3", "between_0": "1"})
    form = signed_in.get(address("report-grades", graded)).context["form"]
    said = {name: form[name].value() for name in ("grade_0", "stop_0", "between_0", "grade_1")}
    assert said == {"grade_0": "0", "stop_0": "6.3", "between_0": "1", "grade_1": None}
    signed_in.post(address("report-grades", graded), {"grade_0": "1"})
    assert kept(graded) == {35: {1.4: 1}}


def test_a_report_by_eye_goes_in_without_frames(signed_in, graded, drain):
    signed_in.post(address("report-grades", graded), {"grade_3": "0", "grade_4": "0", "grade_5": "3"})
    after = signed_in.post(address("report-submit", graded)).url
    drain()
    assert "one report so far: clean to f/5.6" in text_of(signed_in.get(after))


def test_a_stop_that_no_lens_shows_is_questioned_and_nothing_is_lost(signed_in, graded):
    response = signed_in.post(
        address("report-grades", graded), {"grade_0": "4", "stop_0": "7.7", "between_0": "1"}
    )
    page = text_of(response)
    assert response.status_code == 422 and "Did you mean f/7.1 or f/8?" in page
    assert 'value="7.7"' in page and kept(graded) == {}


def test_an_empty_table_is_refused_in_words(signed_in, graded):
    response = signed_in.post(address("report-grades", graded), {})
    assert response.status_code == 422 and "at least one reading" in text_of(response)


def test_a_zoom_is_graded_one_focal_length_after_the_other(signed_in, typed):
    zoom = LensFactory(zoom=True)
    start = typed | {"basis": "graded", "lens": zoom.slug, "lens_name": str(zoom)}
    signed_in.post(reverse("report-start"), start)
    report = Report.objects.get()
    here = address("report-grades", report)
    refused = signed_in.post(here, {"grade_2": "0"})
    assert refused.status_code == 422 and 'id="id_focal_length_mm_error"' in text_of(refused)
    low, high = f"{zoom.focal_min_mm:g}", f"{zoom.focal_max_mm:g}"
    again = signed_in.post(here, {"focal_length_mm": low, "grade_2": "0", "another": "1"})
    assert again.url == here
    signed_in.post(here, {"focal_length_mm": high, "grade_2": "3"})
    assert sorted(kept(report)) == [zoom.focal_min_mm, zoom.focal_max_mm]
    assert f'value="{low}"' in text_of(signed_in.get(here, {"focal": low}))


def test_a_teleconverter_shifts_the_stops(signed_in, typed):
    TeleconverterFactory(slug="osterby-extender-2", magnification=2)
    signed_in.post(
        reverse("report-start"), typed | {"basis": "graded", "teleconverter": "osterby-extender-2"}
    )
    page = text_of(signed_in.get(address("report-grades", Report.objects.get())))
    assert 'scope="row">f/2.8<' in page and 'scope="row">f/1.4<' not in page and "Focal length" in page


def test_someone_without_frames_grades_instead_and_the_report_says_so(signed_in, draft):
    assert address("report-grades", draft) in text_of(signed_in.get(address("report-frames", draft)))
    assert "one that is graded by eye" in text_of(signed_in.get(address("report-grades", draft)))
    signed_in.post(address("report-grades", draft), {"grade_3": "0"})
    draft.refresh_from_db()
    assert draft.basis == "graded"


def test_a_graded_draft_waits_at_its_table(signed_in, graded):
    assert address("report-grades", graded) in text_of(signed_in.get(reverse("my-reports")))


def test_grades_are_their_authors_only(client, graded):
    client.force_login(AccountFactory())
    assert client.get(address("report-grades", graded)).status_code == 404


@pytest.mark.parametrize("grade", range(5))
def test_every_grade_has_a_picture(client, grade):
    response = client.get(reverse("reference-picture", args=[grade]))
    assert response["Content-Type"] == "image/jpeg" and response.content[:2] == b"\xff\xd8"
    assert "max-age" in response["Cache-Control"]


def test_there_is_no_fifth_grade(client):
    assert client.get("/grades/5.jpg").status_code == 404


# ---- relayed -------------------------------------------------------------------------------------


@pytest.fixture
def published(lens):
    return {
        "lens_name": "35 1.4",
        "lens": lens.slug,
        "citation_title": "Infrared on the saltings, part 3",
        "citation_url": "https://saltmarsh.example/infrared-3",
        "tester_name": "R. Samphire",
        "cut_on_nm": "720",
        "claim-0-says": "clean_to",
        "claim-0-f_number": "8",
    }


def test_a_published_result_is_relayed_with_its_citation(signed_in, published, drain):
    response = signed_in.post(RELAY, published)
    relay = Report.objects.get()
    assert response.url == address("report-check", relay)
    check = text_of(signed_in.get(response.url))
    assert "R. Samphire, “Infrared on the saltings, part 3”" in check and "Clean to f/8." in check
    assert "Before it can go in" not in check
    after = signed_in.post(address("report-submit", relay)).url
    drain()
    assert "one report so far: clean to f/8" in text_of(signed_in.get(after))
    assert "by R. Samphire" in text_of(signed_in.get(after))


def test_an_author_who_writes_of_somebody_elses_test_is_told_apart(signed_in, published, drain):
    signed_in.post(RELAY, published | {"citation_author": "T. Redshank"})
    relay = Report.objects.get()
    assert (relay.citation_author, relay.tester_name) == ("T. Redshank", "R. Samphire")
    signed_in.post(address("report-submit", relay))
    page = text_of(signed_in.get(reverse("report", args=[relay.public_id])))
    assert "tested by R. Samphire" in page and ", by T. Redshank" in page


def test_an_author_is_the_tester_unless_another_is_named(signed_in, published):
    signed_in.post(RELAY, published | {"citation_author": "T. Redshank", "tester_name": ""})
    assert Report.objects.get().tester_name == "T. Redshank"


def test_several_claims_are_taken_and_each_is_answered_for_in_its_place(signed_in, published):
    more = {"claim-1-says": "hot_from", "claim-1-f_number": "7.7"}
    response = signed_in.post(RELAY, published | more)
    page = text_of(response)
    assert response.status_code == 422 and "Did you mean f/7.1 or f/8?" in page
    assert 'id="id_claim-1-f_number_error"' in page and "R. Samphire" in page
    signed_in.post(RELAY, published | more | {"claim-1-f_number": "11"})
    assert Report.objects.get().claims.count() == 2


def test_an_unknown_lens_offers_the_nearest_ones(signed_in, published, lens):
    response = signed_in.post(RELAY, published | {"lens": "", "lens_name": "Marrom 36 f1.4"})
    assert response.status_code == 422 and f'value="{lens.slug}"' in text_of(response)


def test_what_keeps_a_relay_from_going_in_is_said_on_the_check_page(signed_in, published):
    response = signed_in.post(
        RELAY, published | {"tester_name": "", "claim-0-says": "", "claim-0-f_number": ""}
    )
    page = text_of(signed_in.get(response.url))
    assert "The tester&#x27;s name is missing." in page and "no reading and no claim" in page


def test_a_relays_draft_is_corrected_with_everything_still_there(signed_in, published):
    signed_in.post(RELAY, published | {"light_group": ""})
    relay = Report.objects.get()
    assert signed_in.get(address("report-details", relay)).url == address("report-relayed", relay)
    page = text_of(signed_in.get(address("report-relayed", relay)))
    assert 'value="R. Samphire"' in page and 'value="clean_to" selected' in page
    signed_in.post(address("report-relayed", relay), published | {"claim-0-f_number": "11"})
    assert [claim.f_number for claim in relay.claims.all()] == [11]


def test_full_spectrum_stays_what_it_was_when_a_relay_is_corrected(signed_in, published):
    whole = published | {"cut_on_nm": "", "light_group": "full-spectrum"}
    signed_in.post(RELAY, whole)
    relay = Report.objects.get()
    assert relay.light_group == "full-spectrum"
    signed_in.post(address("report-relayed", relay), whole | {"notes": "seen twice"})
    relay.refresh_from_db()
    assert (relay.light_group, relay.notes) == ("full-spectrum", "seen twice")


def test_an_address_that_is_none_is_refused_beside_its_field(signed_in, published):
    response = signed_in.post(RELAY, published | {"citation_url": "javascript:alert(1)"})
    assert response.status_code == 422 and 'id="id_citation_url_error"' in text_of(response)


# ---- the same source again -----------------------------------------------------------------------


@pytest.fixture
def passed_on(lens):
    """A relay of the same source by somebody else, which counts already."""
    rail = AccountFactory(name="Rail")
    return services.file_report(
        author=rail,
        submit=True,
        data={
            "lens": lens.slug,
            "basis": "relayed",
            "cut_on_nm": 720,
            "tester_name": "R. Samphire",
            "citation_title": "Infrared on the saltings, part 3",
            "citation_url": "http://www.saltmarsh.example/infrared-3/?utm_source=letter",
            "claims": [{"says": "clean_to", "f_number": 8}],
        },
    )


def test_a_source_passed_on_before_is_recognised_while_filing(signed_in, published, passed_on):
    response = signed_in.post(RELAY, published)
    page = text_of(response)
    assert response.status_code == 422 and Report.objects.count() == 1
    assert f"Report {passed_on.public_id} by Rail" in page and "clean to f/8, 720 nm" in page
    assert 'id="id_adds_error"' in page and 'value="R. Samphire"' in page


def test_what_a_second_relay_adds_is_kept_with_it(signed_in, published, passed_on):
    signed_in.post(RELAY, published | {"claim-0-f_number": "11", "adds": "the stop f/11", "notes": "p. 4"})
    relay = Report.objects.get(author__name="Wren")
    assert relay.notes == f"p. 4\nBeside report {passed_on.public_id}: the stop f/11"


def test_one_is_told_of_ones_own_draft_of_the_same_source(signed_in, published):
    signed_in.post(RELAY, published)
    page = text_of(signed_in.post(RELAY, published | {"citation_url": ""}))
    assert "Your own draft" in page and address("report-check", Report.objects.get()) in page


@pytest.mark.parametrize(
    "other",
    [
        {"citation_url": "https://saltmarsh.example/infrared-4", "citation_title": "Part 4"},
        {"citation_url": "", "citation_title": "Another title"},
    ],
)
def test_another_source_is_no_second_relay(signed_in, published, passed_on, other):
    assert signed_in.post(RELAY, published | other).status_code == 302


def test_the_same_source_on_another_lens_is_news(signed_in, published, passed_on):
    other = LensFactory()
    response = signed_in.post(RELAY, published | {"lens": other.slug, "lens_name": str(other)})
    assert response.status_code == 302


def test_somebody_elses_draft_is_not_given_away(signed_in, client, published, lens):
    signed_in.post(RELAY, published)
    client.force_login(AccountFactory())
    assert client.post(RELAY, published).status_code == 302


def test_relays_of_one_source_are_shown_as_one_piece_of_evidence(signed_in, published, passed_on, drain):
    signed_in.post(RELAY, published | {"adds": "the same, read again"})
    second = Report.objects.get(author__name="Wren")
    after = signed_in.post(address("report-submit", second)).url
    drain()
    for shown, other in ((passed_on, second), (second, passed_on)):
        page = text_of(signed_in.get(reverse("report", args=[shown.public_id])))
        assert "counts once" in page and reverse("report", args=[other.public_id]) in page
    page = text_of(signed_in.get(after))
    assert "one report so far: clean to f/8" in page
    assert page.count(f"report {passed_on.public_id}</a>, with which it counts once") == 1


# ---- results that are none -----------------------------------------------------------------------


def test_nothing_found_is_no_evidence_but_the_lens_page_shows_that_someone_looked(
    signed_in, published, lens, drain
):
    nothing = published | {"claim-0-says": "nothing_found", "claim-0-f_number": ""}
    signed_in.post(RELAY, nothing)
    signed_in.post(address("report-submit", Report.objects.get()))
    drain()
    page = text_of(signed_in.get(reverse("lens", args=[lens.slug])))
    assert "Searched and found nothing" in page and "one report so far" not in page


def test_mixed_results_are_recorded_as_such(signed_in, published, lens, drain):
    signed_in.post(RELAY, published | {"claim-0-says": "mixed", "claim-0-f_number": ""})
    signed_in.post(address("report-submit", Report.objects.get()))
    drain()
    assert "Mixed results" in text_of(signed_in.get(reverse("lens", args=[lens.slug])))


def test_relaying_needs_an_account(client):
    assert client.get(RELAY).url.startswith(reverse("account_login"))
