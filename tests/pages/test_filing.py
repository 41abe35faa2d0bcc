"""Filing a report, page by page, with everything that can go wrong on the way."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from registry.gear.models import Body, Lens
from registry.reports.models import Report, SampleImage
from registry.simulation.scene import Scene
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.pages.conftest import frame
from tests.report_factories import RigFactory

pytestmark = pytest.mark.django_db
START = reverse("report-start")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def address(name, report, *more):
    return reverse(name, args=[report.public_id, *more])


# ---- start ---------------------------------------------------------------------------------------


def test_a_filled_in_form_becomes_a_draft(signed_in, typed, lens):
    response = signed_in.post(START, typed)
    draft = Report.objects.get()
    assert response.url == address("report-frames", draft)
    assert (draft.lens, draft.target, draft.cut_on_nm) == (lens, "a white wall", 720)


def test_a_new_camera_is_described_on_the_way(signed_in, typed):
    BodyFactory(name="Causey 9")
    new = {"rig": "new", "body": "Osterby Causey 9", "conversion": "full-spectrum"}
    signed_in.post(START, typed | new)
    assert str(Report.objects.get().rig) == "Osterby Causey 9, full spectrum"


def test_a_lens_typed_in_full_needs_no_choosing(signed_in, typed, lens):
    signed_in.post(START, typed | {"lens": "", "lens_name": "Osterby Marram 35 mm f/1.4"})
    assert Report.objects.get().lens == lens


def test_an_unknown_lens_offers_the_nearest_and_to_add_it(signed_in, typed, lens):
    response = signed_in.post(START, typed | {"lens": "", "lens_name": "Marrom 36 f1.4"})
    page = text_of(response)
    assert response.status_code == 422
    assert f'value="{lens.slug}"' in page and "Add “Marrom 36 f1.4” to the catalogue" in page


def test_nothing_typed_is_lost_on_an_error(signed_in, typed):
    response = signed_in.post(START, typed | {"lens": "", "lens_name": "Zwjxq", "light": "an overcast sky"})
    page = text_of(response)
    for kept in ("Zwjxq", "a white wall", "dusk, no wind", "an overcast sky"):
        assert kept in page
    assert Report.objects.count() == 0


def test_every_problem_stands_beside_its_field(signed_in, typed):
    wrong = {
        "rig": "new",
        "body": "Causey 2",
        "conversion": "long-pass",
        "cut_on_nm": "72",
        "shot_on": "2999-01-01",
    }
    response = signed_in.post(START, typed | wrong)
    page = text_of(response)
    assert response.status_code == 422
    assert 'id="id_cut_on_nm_error"' in page and "“72”" in page
    assert 'id="id_shot_on_error"' in page and "in the future" in page


def test_a_sign_in_that_ran_out_costs_nothing(client, contributor, typed):
    response = client.post(START, typed)
    assert response.url.startswith(reverse("account_login"))
    client.force_login(contributor)
    assert "dusk, no wind" in text_of(client.get(START))


def test_someone_elses_rig_is_refused(signed_in, typed):
    foreign = RigFactory(owner=AccountFactory())
    assert signed_in.post(START, typed | {"rig": foreign.public_id}).status_code == 422


def test_lenses_are_suggested_while_typing(signed_in, lens):
    page = text_of(signed_in.get(reverse("suggest-lenses"), {"lens_name": "35 1.4"}))
    assert f'value="{lens.slug}"' in page and "<html" not in page


# ---- gear that is missing ------------------------------------------------------------------------


def test_a_missing_lens_is_added_on_the_way_and_the_report_goes_on(signed_in, typed, lens):
    away = signed_in.post(START, typed | {"lens": "", "lens_name": "Osterby Dunlin 20 mm f/2", "add": "lens"})
    assert "Dunlin" in text_of(signed_in.get(away.url))
    facts = {"maker": "Osterby", "name": "Dunlin 20 mm f/2", "focal_min_mm": "20", "widest_f": "2"}
    back = signed_in.post(away.url, facts | {"projection": "rectilinear", "filter_seat": "front-thread"})
    assert back.url == START
    page = text_of(signed_in.get(START))
    added = Lens.objects.get(name="Dunlin 20 mm f/2")
    assert f'value="{added.slug}" checked' in page and "dusk, no wind" in page
    assert added.status == "proposed"


def test_a_missing_body_is_added_on_the_way(signed_in, typed):
    away = signed_in.post(START, typed | {"rig": "new", "body": "Osterby Whimbrel", "add": "body"})
    signed_in.post(away.url, {"maker": "Osterby", "name": "Whimbrel"})
    assert Body.objects.filter(name="Whimbrel").exists()
    assert 'value="Osterby Whimbrel"' in text_of(signed_in.get(START))


def test_a_missing_filter_is_added_on_the_way(signed_in, typed):
    away = signed_in.post(START, typed | {"add": "filter"})
    facts = {"maker": "Ferrow", "name": "Dusk 760", "passes": "long-pass", "cut_on_nm": "760"}
    signed_in.post(away.url, facts)
    assert 'value="ferrow-dusk-760" selected' in text_of(signed_in.get(START))


def test_wrong_facts_are_refused_beside_their_fields_with_nothing_lost(signed_in, lens):
    facts = {
        "maker": "Osterby",
        "name": "Dunlin",
        "focal_min_mm": "70",
        "focal_max_mm": "24",
        "widest_f": "2",
    }
    response = signed_in.post(
        reverse("propose-lens"), facts | {"projection": "rectilinear", "filter_seat": "front-thread"}
    )
    page = text_of(response)
    assert response.status_code == 422
    assert 'id="id_focal_max_mm_error"' in page and 'value="Dunlin"' in page


def test_adding_gear_needs_an_account(client):
    assert reverse("account_login") in client.get(reverse("propose-lens")).url


# ---- frames --------------------------------------------------------------------------------------


def test_several_frames_arrive_at_once(signed_in, draft):
    files = [frame(4, "a.jpg"), frame(8, "b.jpg", frame=1)]
    response = signed_in.post(address("report-frames", draft), {"frames": files})
    assert response.url == address("report-frames", draft)
    assert draft.images.count() == 2


def test_a_file_that_is_no_picture_leaves_the_others(signed_in, draft):
    files = [frame(8, "good.jpg"), SimpleUploadedFile("bad.jpg", b"not a picture at all")]
    response = signed_in.post(address("report-frames", draft), {"frames": files})
    page = text_of(response)
    assert response.status_code == 422
    assert "bad.jpg" in page and "no picture" in page
    assert list(draft.images.values_list("file_name", flat=True)) == ["good.jpg"]


def test_a_frame_sent_alone_is_answered_for_alone(signed_in, draft):
    bad = {"frames": [SimpleUploadedFile("bad.jpg", b"nothing")]}
    response = signed_in.post(address("report-frames", draft), bad, headers={"X-One-Frame": "1"})
    assert response.status_code == 422
    assert text_of(response).startswith("<ul") and "bad.jpg" in text_of(response)


def test_a_file_name_with_markup_is_shown_as_text(signed_in, draft):
    bad = SimpleUploadedFile("<img src=x onerror=alert(1)>.jpg", b"nothing")
    page = signed_in.post(address("report-frames", draft), {"frames": [bad]}).content.decode()
    assert "<img src=x" not in page


def test_the_list_of_frames_asks_again_until_all_are_measured(signed_in, draft, drain):
    signed_in.post(address("report-frames", draft), {"frames": [frame(8)]})
    waiting = text_of(signed_in.get(address("report-frames-state", draft)))
    assert "hx-trigger" in waiting and "1 still being measured" in waiting
    drain()
    done = text_of(signed_in.get(address("report-frames-state", draft)))
    assert "hx-trigger" not in done and "1 measured" in done


def test_a_frame_of_a_scene_is_refused_with_the_reason_and_graded_by_eye(signed_in, draft, drain):
    tilted = frame(8, "tilted.jpg", scene=Scene(focal_length_mm=35, widest=1.4, tilt_ev=1.5))
    signed_in.post(address("report-frames", draft), {"frames": [tilted]})
    drain()
    image = draft.images.get()
    assert image.state == "rejected"
    page = text_of(signed_in.get(address("report-check", draft)))
    assert "EV" in page.split('class="wrong"')[-1] and "grade" in page.lower()
    signed_in.post(
        address("report-frame", draft, image.public_id),
        {"f_number": "8", "focal_length_mm": "35", "grade": "2"},
    )
    image.refresh_from_db()
    assert image.grade == 2


# ---- check and submit ----------------------------------------------------------------------------


def test_the_check_page_shows_what_was_measured_over_each_frame(signed_in, measured_draft):
    page = text_of(signed_in.get(address("report-check", measured_draft)))
    assert page.count('<circle class="ring') == 6  # a light line over a dark one, for three frames
    assert "0.41 EV" in page and "± 0.02" in page
    assert page.count("Profile from the centre outwards") == 3


def test_an_f_number_no_lens_shows_is_questioned_with_the_nearest(signed_in, measured_draft):
    image = measured_draft.images.first()
    response = signed_in.post(
        address("report-frame", measured_draft, image.public_id),
        {"f_number": "7.7", "focal_length_mm": "35", "grade": "3"},
    )
    page = text_of(response)
    assert response.status_code == 422
    assert "Did you mean f/7.1 or f/8?" in page and 'value="7.7"' in page


def test_a_corrected_f_number_is_kept(signed_in, measured_draft):
    image = measured_draft.images.order_by("-f_number").first()
    response = signed_in.post(
        address("report-frame", measured_draft, image.public_id),
        {"f_number": "13", "focal_length_mm": "35", "grade": ""},
    )
    assert response.url.endswith(f"#frame-{image.public_id}")
    image.refresh_from_db()
    assert image.f_number == 13


def test_a_frame_can_be_taken_out(signed_in, measured_draft):
    image = measured_draft.images.first()
    signed_in.post(address("report-frame", measured_draft, image.public_id), {"remove": "1"})
    assert not SampleImage.objects.filter(pk=image.pk).exists()


def test_what_keeps_a_report_from_going_in_is_said_before_it_is_sent(signed_in, measured_draft):
    measured_draft.filter_position = ""
    measured_draft.save()
    page = text_of(signed_in.get(address("report-check", measured_draft)))
    assert "Before it can go in" in page and "sat is missing" in page
    assert signed_in.post(address("report-submit", measured_draft)).status_code == 422


def test_a_submitted_report_is_on_the_lens_page(signed_in, measured_draft, drain):
    response = signed_in.post(address("report-submit", measured_draft), {"corner-softness": "2"})
    assert response.url.startswith(reverse("lens", args=[measured_draft.lens.slug]))
    drain()
    page = text_of(signed_in.get(response.url))
    assert "one report so far" in page and "Wren" in page and "Corner softness" in page


def test_a_report_submitted_early_goes_in_by_itself(signed_in, draft, drain):
    files = [frame(f, f"{f}.jpg", frame=i) for i, f in enumerate((4, 8, 11, 16))]
    signed_in.post(address("report-frames", draft), {"frames": files})
    response = signed_in.post(address("report-submit", draft))
    assert "as soon as its last frame is measured" in text_of(signed_in.get(response.url))
    drain()
    draft.refresh_from_db()
    assert draft.state == "submitted"


def test_a_report_without_frames_does_not_go_in(signed_in, draft):
    response = signed_in.post(address("report-submit", draft))
    assert response.status_code == 422 and "no frame of it has been measured" in text_of(response)


def test_details_can_be_corrected_until_then(signed_in, draft, typed):
    page = text_of(signed_in.get(address("report-details", draft)))
    assert "Osterby Marram 35 mm f/1.4" in page
    signed_in.post(address("report-details", draft), typed | {"target": "a grey card"})
    draft.refresh_from_db()
    assert draft.target == "a grey card"


def test_the_wrong_lens_is_corrected_by_choosing_another(signed_in, draft, typed):
    other = LensFactory(
        name="Samphire 85 mm f/1.2", slug="osterby-samphire-85", focal_min_mm=85, widest_f=1.2
    )
    signed_in.post(address("report-details", draft), typed | {"lens": other.slug, "lens_name": str(other)})
    draft.refresh_from_db()
    assert draft.lens == other


def test_a_draft_waits_where_it_was_left(signed_in, draft):
    assert address("report-frames", draft) in text_of(signed_in.get(START))
    assert address("report-frames", draft) in text_of(signed_in.get(reverse("my-reports")))


def test_a_discarded_draft_is_gone(signed_in, draft):
    signed_in.post(address("report-discard", draft))
    assert Report.objects.count() == 0


FILING = ["report-details", "report-frames", "report-frames-state", "report-check"]


@pytest.mark.parametrize("name", FILING)
def test_a_draft_is_its_authors_only(client, draft, name):
    client.force_login(AccountFactory())
    assert client.get(address(name, draft)).status_code == 404


@pytest.mark.parametrize("name", FILING)
def test_filing_needs_an_account(client, draft, name):
    assert client.get(address(name, draft)).url.startswith(reverse("account_login"))


@pytest.mark.parametrize(
    ("name", "instead"), [("report-submit", "report-check"), ("report-discard", "report-frames")]
)
def test_acts_are_not_done_by_following_a_link(signed_in, draft, name, instead):
    assert signed_in.get(address(name, draft)).url == address(instead, draft)
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_where_one_was_going_is_kept_whole_while_signing_in(client, lens):
    away = client.get(START, {"lens": "35 1.4 & more"})
    assert away.url.endswith("next=/reports/new/%3Flens%3D35%2B1.4%2B%2526%2Bmore")


@pytest.mark.parametrize("name", ["report-details", "report-frames", "report-check"])
def test_a_submitted_report_can_no_longer_be_filed(signed_in, measured_draft, name):
    signed_in.post(address("report-submit", measured_draft))
    assert signed_in.get(address(name, measured_draft)).url == address("report", measured_draft)
