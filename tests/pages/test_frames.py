"""The frames page: what was announced, what has arrived, what is missing, and what doesn't go with the rest."""

import hashlib
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.reports import queries, services
from tests.factories import AccountFactory, LensFactory
from tests.pages.conftest import SampleImageFactory, frame
from tests.pages.test_filing import address, text_of

pytestmark = pytest.mark.django_db


def told(file):
    content = file.read()
    file.seek(0)
    return {"name": file.name, "size": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def announce(client, draft, files):
    return client.post(
        address("report-frames-announce", draft),
        json.dumps({"files": files}),
        content_type="application/json",
    )


@pytest.fixture
def folder():
    return [frame(stop, f"DSC_{stop}.jpg", frame=place) for place, stop in enumerate((4, 8, 16))]


def read_frame(draft, f_number=8, focal_length_mm=35, **fields):
    return SampleImageFactory(
        report=draft, owner=draft.author, f_number=f_number, focal_length_mm=focal_length_mm, **fields
    )


def test_the_shot_list_that_is_offered_is_the_one_of_this_camera_and_filter(signed_in, draft):
    offered = signed_in.get(address("report-frames", draft)).context["shot_list"]
    plan = signed_in.get(offered).context["plan"]
    assert f"rig={draft.rig.public_id}" in offered and f"filter={draft.filter.slug}" in offered
    assert plan.cut_on_nm == 720 and str(draft.rig) in text_of(signed_in.get(offered))


def test_lenses_that_the_files_may_mean_are_offered_and_filled_in(signed_in, draft):
    meant = LensFactory(name="Samphire 85 mm f/1.2", slug="osterby-samphire-85", widest_f=1.2)
    read_frame(draft, state="measured", exif={"lens_model": "Samfire 85 1.2"})
    offered = f"{address('report-details', draft)}?lens={meant.slug}"
    assert f'<a href="{offered}">It was the {meant}</a>' in text_of(
        signed_in.get(address("report-frames", draft))
    )
    form = signed_in.get(offered).context["form"]
    assert (form["lens"].value(), form["lens_name"].value()) == (meant.slug, str(meant))
    draft.refresh_from_db()
    assert draft.lens != meant


# ---- a folder on its way ---------------------------------------------------------------------------


def test_an_announced_folder_is_answered_with_what_is_here_already(signed_in, draft, folder):
    signed_in.post(address("report-frames", draft), {"frames": [folder[1]]})
    folder[1].seek(0)
    answer = announce(signed_in, draft, [told(file) for file in folder])
    assert answer.json() == {"here": [told(folder[1])["sha256"]]}


def test_files_without_a_hash_are_known_by_name_and_size(signed_in, draft, folder):
    signed_in.post(address("report-frames", draft), {"frames": [folder[0]]})
    folder[0].seek(0)
    files = [{**told(file), "sha256": ""} for file in folder]
    assert announce(signed_in, draft, files).json() == {"here": [f"DSC_4.jpg {files[0]['size']}"]}


def test_whoever_comes_back_is_told_what_is_missing_and_what_to_do(signed_in, draft, folder):
    announce(signed_in, draft, [told(file) for file in folder])
    signed_in.post(address("report-frames", draft), {"frames": [folder[1]]}, headers={"X-One-Frame": "1"})
    page = text_of(signed_in.get(address("report-frames", draft)))
    assert "1 of 3 frames have arrived" in page and "only the missing 2 are sent" in page
    assert "<li>DSC_4.jpg</li>" in page and "<li>DSC_16.jpg</li>" in page


def test_what_is_not_coming_is_let_go(signed_in, draft, folder):
    announce(signed_in, draft, [told(file) for file in folder])
    signed_in.post(address("report-frames-stop-awaiting", draft))
    assert "frames have arrived" not in text_of(signed_in.get(address("report-frames", draft)))


def test_a_folder_that_is_too_large_is_refused_in_words(signed_in, draft, folder, settings):
    settings.FRAMES_PER_REPORT = 2
    answer = announce(signed_in, draft, [told(file) for file in folder])
    assert answer.status_code == 422
    assert "3 frames, and a report takes 2" in answer.json()["problems"][0]["says"]


@pytest.mark.parametrize("body", ["", "{}", "[1]", '{"files": {"a": 1}}', '{"files": [3]}', "\0"])
def test_a_list_that_cannot_be_read_breaks_nothing(signed_in, draft, body):
    answer = signed_in.post(address("report-frames-announce", draft), body, content_type="application/json")
    assert answer.status_code == 422 and answer.json()["problems"][0]["remedy"]


def test_a_file_turned_away_is_still_named_on_the_next_visit(signed_in, draft):
    bad = SimpleUploadedFile("notes.jpg", b"shopping list")
    announce(signed_in, draft, [told(bad)])
    signed_in.post(address("report-frames", draft), {"frames": [bad]}, headers={"X-One-Frame": "1"})
    page = text_of(signed_in.get(address("report-frames", draft)))
    assert "Not taken" in page and "notes.jpg" in page and "no picture" in page
    assert "frames have arrived" not in page
    signed_in.post(address("report-frames-stop-awaiting", draft))
    assert "notes.jpg" not in text_of(signed_in.get(address("report-frames", draft)))


@pytest.mark.parametrize("name", ["report-frames-announce", "report-frames-stop-awaiting"])
def test_nobody_else_touches_what_a_draft_waits_for(client, draft, name):
    client.force_login(AccountFactory())
    assert client.post(address(name, draft)).status_code == 404


# ---- what the list says ----------------------------------------------------------------------------


def arrivals(client, draft):
    return text_of(client.get(address("report-frames-state", draft)))


def test_frames_are_listed_in_the_order_of_shooting(signed_in, draft):
    for name in ("DSC_10.jpg", "DSC_9.jpg"):
        read_frame(draft, file_name=name)
    page = arrivals(signed_in, draft)
    assert page.index("DSC_9.jpg") < page.index("DSC_10.jpg")


def test_the_list_shows_each_sweep_with_its_stops(signed_in, draft):
    for f_number in (4, 8, 8):
        read_frame(draft, f_number)
    assert "f/8 (2)" in arrivals(signed_in, draft)


def test_shots_that_the_list_asks_for_and_nobody_took_are_named(signed_in, draft):
    for f_number in (1.4, 2, 2.8, 4):
        read_frame(draft, f_number)
    page = arrivals(signed_in, draft)
    named = page.split("Missing from the shot list")[1].split("</ul>")[0]
    assert "At 35 mm: f/5.6, f/8" in named and "A proof picture" in named and "f/2.8" not in named


def test_before_a_frame_is_read_nothing_is_called_missing(signed_in, draft):
    assert "Missing from" not in arrivals(signed_in, draft)


def test_a_frame_by_another_body_is_pointed_out_with_what_differs(signed_in, draft):
    for f_number in (4, 8):
        read_frame(draft, f_number, exif={"body_model": "OSTERBY CAUSEY-6"})
    read_frame(draft, 16, file_name="stray.jpg", exif={"body_model": "OSTERBY CAUSEY-2"})
    page = arrivals(signed_in, draft)
    assert "stray.jpg was shot with the body “OSTERBY CAUSEY-2”, the others with “OSTERBY CAUSEY-6”" in page
    assert "another body than the rest" in page


def test_frames_without_an_f_number_lead_to_the_table(signed_in, draft):
    read_frame(draft, None)
    page = arrivals(signed_in, draft)
    assert "1 frame lacks an f-number" in page and address("report-frames-table", draft) in page


# ---- the table -------------------------------------------------------------------------------------


def table(client, draft, rows, **more):
    """Send the table with what it shows, save for what rows say: {image: {field: text}}."""
    sent = {}
    for image in draft.images.all():
        said = {
            "f_number": "" if image.f_number is None else f"{image.f_number:g}",
            "focal_length_mm": "" if image.focal_length_mm is None else f"{image.focal_length_mm:g}",
            "purpose": image.purpose,
        } | rows.get(image, {})
        sent |= {f"{image.public_id}-{name}": text for name, text in said.items()}
    return client.post(address("report-frames-table", draft), sent | more)


RUN = {
    "fill": "1",
    "run-which": "without",
    "run-first": "2.8",
    "run-last": "8",
    "run-step": "full",
    "run-repeats": "1",
    "run-repeated": "in-a-row",
    "run-focal_length_mm": "",
}


def stops_of(draft):
    return list(draft.images.order_by("file_name").values_list("f_number", flat=True))


@pytest.fixture
def unmarked(draft):
    """Four frames of a lens without contacts."""
    return [read_frame(draft, None, file_name=f"DSC_{number}.jpg") for number in range(4)]


def test_many_frames_are_corrected_at_once(signed_in, draft, unmarked):
    response = table(
        signed_in,
        draft,
        {unmarked[0]: {"f_number": "4"}, unmarked[1]: {"f_number": "5,6", "purpose": "control"}},
    )
    assert response.status_code == 422  # a decimal comma is no number here, and nothing is half kept
    assert stops_of(draft) == [None] * 4
    response = table(
        signed_in,
        draft,
        {unmarked[0]: {"f_number": "4"}, unmarked[1]: {"f_number": "5.6", "purpose": "control"}},
    )
    assert response.url == address("report-frames", draft)
    assert stops_of(draft) == [4, 5.6, None, None]
    assert draft.images.get(pk=unmarked[1].pk).purpose == "control"
    assert "2 frames were corrected" in text_of(signed_in.get(response.url))


def test_each_error_stands_beside_its_cell_and_nothing_typed_is_lost(signed_in, draft, unmarked):
    wrong = {
        unmarked[0]: {"f_number": "7.7"},
        unmarked[1]: {"focal_length_mm": "400"},
        unmarked[2]: {"f_number": "11"},
    }
    response = table(signed_in, draft, wrong)
    page = text_of(response)
    assert response.status_code == 422
    assert f'id="{unmarked[0].public_id}-f_number_error"' in page
    assert f'id="{unmarked[1].public_id}-focal_length_mm_error"' in page
    for typed in ('value="7.7"', 'value="400"', 'value="11"'):
        assert typed in page
    assert stops_of(draft) == [None] * 4


def test_a_frame_that_arrives_meanwhile_keeps_what_exif_says(signed_in, draft, unmarked):
    sent = {f"{unmarked[0].public_id}-{name}": text for name, text in
            (("f_number", "4"), ("focal_length_mm", "35"), ("purpose", "target"))}  # fmt: skip
    late = read_frame(draft, 16, file_name="late.jpg")
    signed_in.post(address("report-frames-table", draft), sent)
    late.refresh_from_db()
    assert late.f_number == 16
    assert stops_of(draft)[0] == 4


def test_a_run_fills_the_table_to_be_looked_at_first(signed_in, draft, unmarked):
    response = table(signed_in, draft, {}, **RUN)
    page = text_of(response)
    assert response.status_code == 200 and "Nothing is kept yet" in page
    shown = [page.split(f'name="{image.public_id}-f_number" value="')[1].split('"')[0] for image in unmarked]
    assert shown == ["2.8", "4", "5.6", "8"]
    assert stops_of(draft) == [None] * 4
    keep = {image: {"f_number": stop} for image, stop in zip(unmarked, shown, strict=True)}
    table(signed_in, draft, keep)
    assert stops_of(draft) == [2.8, 4, 5.6, 8]


def test_a_run_that_does_not_fit_is_refused_with_both_counts(signed_in, draft, unmarked):
    response = table(signed_in, draft, {unmarked[0]: {"focal_length_mm": "36"}}, **RUN | {"run-last": "16"})
    page = text_of(response)
    assert response.status_code == 422 and "are 6 frames, and 4 are chosen" in page
    assert 'value="36"' in page and 'name="run-last" value="16"' in page


def test_a_run_fills_only_the_ticked_frames(signed_in, draft, unmarked):
    ticked = {f"{image.public_id}-ticked": "on" for image in unmarked[:2]}
    chosen = RUN | {"run-which": "ticked", "run-last": "4", "run-focal_length_mm": "35.5"} | ticked
    page = text_of(table(signed_in, draft, {}, **chosen))
    assert "2 frames filled in" in page and page.count('value="35.5"') == 3


def test_a_run_leaves_controls_and_proof_pictures_alone(signed_in, draft, unmarked):
    read_frame(draft, None, file_name="control.jpg", purpose="control")
    page = text_of(table(signed_in, draft, {}, **RUN | {"run-which": "all"}))
    assert "4 frames filled in" in page


def test_a_run_can_follow_the_shot_list(signed_in, draft):
    listed = queries_run(draft)
    frames = [read_frame(draft, None, file_name=f"{place:03}.jpg") for place in range(len(listed))]
    page = text_of(table(signed_in, draft, {}, **RUN | {"run-step": "list"}))
    shown = [page.split(f'name="{image.public_id}-f_number" value="')[1].split('"')[0] for image in frames]
    assert shown == [f"{shot.f_number:g}" for shot in listed]


def queries_run(draft):
    from registry.reports.rules.planning import plan_of_report
    from registry.reports.rules.shooting_order import run_of_list

    return run_of_list(plan_of_report(draft).shot_list)


def test_a_frame_taken_out_meanwhile_is_said_and_the_rest_stays_typed(signed_in, draft, unmarked):
    image = unmarked[0]
    services.remove_image(image=image, by=draft.author)
    sent = {f"{image.public_id}-f_number": "4", f"{image.public_id}-purpose": "target"}
    response = signed_in.post(address("report-frames-table", draft), sent)
    assert response.url == address("report-frames", draft)


def test_ticked_frames_are_taken_out_together(signed_in, draft, unmarked):
    ticked = {f"{image.public_id}-ticked": "on" for image in unmarked[:3]}
    response = table(signed_in, draft, {}, remove="1", **ticked)
    assert list(draft.images.all()) == unmarked[3:]
    assert "3 frames were taken out" in text_of(signed_in.get(response.url))


def test_nothing_ticked_takes_nothing_out(signed_in, draft, unmarked):
    response = table(signed_in, draft, {}, remove="1")
    assert response.status_code == 422 and "No frame is ticked" in text_of(response)
    assert draft.images.count() == 4


def test_the_table_is_empty_before_a_frame_is_read(signed_in, draft):
    assert "No frame has been read yet" in text_of(signed_in.get(address("report-frames-table", draft)))


def test_the_table_is_its_author_s(client, draft):
    client.force_login(AccountFactory())
    assert client.get(address("report-frames-table", draft)).status_code == 404


def test_the_list_asks_the_database_no_more_for_more_frames(signed_in, draft, django_assert_max_num_queries):
    for number in range(3):
        read_frame(draft, file_name=f"{number}.jpg")
    with django_assert_max_num_queries(30) as few:
        arrivals(signed_in, draft)
    for number in range(3, 30):
        read_frame(draft, file_name=f"{number}.jpg")
    with django_assert_max_num_queries(len(few)):
        arrivals(signed_in, draft)
    assert queries.progress(draft).arrived == 30
