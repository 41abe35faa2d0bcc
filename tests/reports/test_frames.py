"""Frames on the real path: a camera's JPEG, the limited process that reads it, the measurement, the readings."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.errors import Conflict, InvalidInput, NotAllowed, TooLarge, Unreadable
from registry.ledger.retries import LEASE, reap_stale_tasks
from registry.reports import queries, services
from registry.reports.models import ImageState, Measurement, Reading, Report, ReportState, SampleImage
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import CLEAN_SCENE, ReportFactory, jpeg_upload, photographed

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft():
    return ReportFactory(basis="measured", shot_on=None)


def test_a_hotspot_of_known_strength_is_measured_and_filed(draft, drain):
    frame = photographed(f_number=8)
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame))
    drain()
    image.refresh_from_db()
    assert image.state in (ImageState.MEASURED, ImageState.UNCERTAIN)
    assert (image.f_number, image.focal_length_mm, image.width, image.height) == (8, 35, 900, 600)
    reading = Reading.objects.get()
    assert reading.excess_ev == pytest.approx(frame.truth.excess_ev, abs=max(0.06, 3 * reading.excess_se))
    assert reading.radius == pytest.approx(frame.truth.radius, abs=0.05)
    assert (reading.av, reading.sweep.focal_length_mm) == (6, 35)
    services.submit_report(report=draft, by=draft.author)
    assert draft.state == ReportState.SUBMITTED
    assert draft.shot_on.isoformat() == "2026-05-09"


def test_a_sweep_is_measured_together_once_its_frames_are_through(draft, drain):
    f_numbers = (4, 5.6, 8, 11)
    frames = {n: photographed(f_number=n, frame=i) for i, n in enumerate(f_numbers)}
    for n, frame in frames.items():
        services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame, f"f{n}.jpg"))
    drain()
    draft.refresh_from_db()
    assert draft.sweeps_due == []
    readings = {reading.f_number: reading for reading in Reading.objects.all()}
    assert set(readings) == set(f_numbers)
    for n, reading in readings.items():
        truth = frames[n].truth.excess_ev
        assert reading.excess_ev == pytest.approx(truth, abs=max(0.06, 3 * reading.excess_se)), f"f/{n}"
    assert Measurement.objects.filter(from_sweep=True).count() == len(f_numbers)
    assert Measurement.objects.filter(from_sweep=False).count() == len(f_numbers)


def test_a_frame_that_kills_every_worker_holds_its_contributor_up_no_longer(draft):
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    DBTaskResult.objects.update(
        status="RUNNING", started_at=timezone.now() - 2 * LEASE, worker_ids=["elsewhere:1"] * 3
    )
    reap_stale_tasks()
    image = SampleImage.objects.get()
    assert (image.state, image.problem["code"]) == (ImageState.UNREADABLE, "could-not-be-measured")
    assert queries.progress(draft).done


def test_a_clean_lens_measures_clean(draft, drain):
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload(photographed(CLEAN_SCENE)))
    drain()
    image = SampleImage.objects.get()
    if image.state == ImageState.MEASURED:
        assert Reading.objects.get().excess_ev < 0.05
    else:
        assert image.state == ImageState.UNCERTAIN


def test_a_frame_that_is_no_target_says_why_and_can_be_graded_by_eye(draft, drain):
    blown = jpeg_upload(photographed(CLEAN_SCENE.__class__(**{**vars(CLEAN_SCENE), "level": 1.4})))
    image = services.add_frame(report=draft, by=draft.author, file=blown)
    drain()
    image.refresh_from_db()
    assert image.state == ImageState.REJECTED
    refusal = queries.overlay_of(image).refusal
    assert refusal.code == "clipped"
    assert not Reading.objects.exists()
    services.correct_image(image=image, by=draft.author, grade=3)
    assert Reading.objects.get().grade == 3
    assert queries.progress(draft).refused == 0


def test_the_same_frame_twice_is_one_frame(draft, drain):
    frame = photographed()
    first = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame, "one.jpg"))
    again = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame, "two.jpg"))
    assert first == again
    assert drain() == 1
    later = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame, "three.jpg"))
    assert later == first
    assert Reading.objects.count() == 1


def test_a_broken_file_leaves_the_others(draft, drain):
    whole = jpeg_upload(photographed()).read()
    services.add_frame(
        report=draft, by=draft.author, file=SimpleUploadedFile("cut.jpg", whole[: len(whole) // 2])
    )
    services.add_frame(report=draft, by=draft.author, file=SimpleUploadedFile("whole.jpg", whole))
    drain()
    cut, good = SampleImage.objects.order_by("file_name")
    assert cut.state == ImageState.UNREADABLE
    assert cut.problem["code"] == "truncated-image"
    assert cut.problem["remedy"]
    assert good.state in (ImageState.MEASURED, ImageState.UNCERTAIN)
    progress = queries.progress(draft)
    assert (progress.arrived, progress.measured, progress.refused, progress.waiting) == (2, 1, 1, 0)


def test_what_is_no_picture_is_refused_at_the_door(draft):
    with pytest.raises(Unreadable) as refused:
        services.add_frame(
            report=draft, by=draft.author, file=SimpleUploadedFile("list.jpg", b"shopping list")
        )
    assert refused.value.first.code == "not-an-image"
    assert not SampleImage.objects.exists()


def test_a_file_over_its_format_s_limit_is_refused_at_the_door(draft, settings):
    settings.FRAME_LIMITS_MB = settings.FRAME_LIMITS_MB | {"jpeg": 0.001}
    with pytest.raises(TooLarge) as refused:
        services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    assert refused.value.first.code == "file-too-large"


def test_a_report_takes_no_more_frames_than_it_may(draft, settings):
    settings.FRAMES_PER_REPORT = 1
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload(photographed(seed=1)))
    with pytest.raises(InvalidInput) as refused:
        services.add_frame(report=draft, by=draft.author, file=jpeg_upload(photographed(seed=2)))
    assert refused.value.first.code == "too-many-frames"


def test_a_draft_waits_for_its_frames_and_then_goes_in_by_itself(draft, drain):
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    with pytest.raises(Conflict) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.code == "still-measuring"
    services.submit_report(report=draft, by=draft.author, submit_when_measured=True)
    assert Report.objects.get().state == ReportState.DRAFT
    drain()
    assert Report.objects.get().state == ReportState.SUBMITTED


def test_a_draft_that_could_not_go_in_by_itself_says_why(draft, drain):
    cut = jpeg_upload().read()[:3000]
    services.add_frame(report=draft, by=draft.author, file=SimpleUploadedFile("cut.jpg", cut))
    services.submit_report(report=draft, by=draft.author, submit_when_measured=True)
    drain()
    report = Report.objects.get()
    assert (report.state, report.submit_when_measured) == (ReportState.DRAFT, False)
    assert report.submit_problems[0]["code"] == "nothing-measured"


def test_a_frame_without_a_stop_asks_for_it(draft, drain):
    bare = jpeg_upload(with_f_number=False, with_focal_length=False)
    image = services.add_frame(report=draft, by=draft.author, file=bare)
    drain()
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert "images[0].f_number" in {problem.field for problem in refused.value.problems}
    services.correct_image(image=image, by=draft.author, f_number=5.6)
    drain()
    services.submit_report(report=draft, by=draft.author)
    reading = Reading.objects.get()
    assert (reading.f_number, reading.sweep.focal_length_mm) == (5.6, 35)


def test_a_zoom_s_frame_asks_for_its_focal_length(drain):
    draft = ReportFactory(basis="measured", lens=LensFactory(zoom=True))
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(with_focal_length=False))
    drain()
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.code == "nothing-measured"
    fields = {problem.field for problem in refused.value.problems}
    assert "images[0].focal_length_mm" in fields
    services.correct_image(image=image, by=draft.author, focal_length_mm=50)
    drain()
    assert services.submit_report(report=draft, by=draft.author).state == ReportState.SUBMITTED


def test_exif_s_stops_are_taken_where_typed_ones_are_questioned(draft, drain):
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(f_number=7.7))
    drain()
    image.refresh_from_db()
    assert image.f_number == 7.7
    with pytest.raises(InvalidInput) as refused:
        services.correct_image(image=image, by=draft.author, f_number=7.7)
    assert refused.value.first.code == "f-number-not-marked"


def test_exif_s_stop_wider_than_the_lens_opens_asks_which_lens_it_was(drain):
    draft = ReportFactory(basis="measured", lens=LensFactory(widest_f=4))
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload(photographed(f_number=2.8)))
    drain()
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.code == "wider-than-the-lens-opens"
    assert refused.value.first.field == "images[0].f_number"


def test_a_corrected_stop_makes_the_frame_measured_again(draft, drain):
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    drain()
    services.correct_image(image=image, by=draft.author, f_number=11)
    assert SampleImage.objects.get().state == ImageState.TAKEN_IN
    drain()
    assert [reading.f_number for reading in Reading.objects.all()] == [11]
    assert Measurement.objects.count() == 2


def test_a_removed_frame_takes_its_reading_with_it(draft, drain):
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    drain()
    services.remove_image(image=image, by=draft.author)
    assert not Reading.objects.exists()
    assert not draft.sweeps.exists()


def test_frames_of_a_submitted_report_change_only_by_revision(draft, drain):
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    drain()
    services.submit_report(report=draft, by=draft.author)
    for act in (
        lambda: services.correct_image(image=image, by=draft.author, grade=2),
        lambda: services.remove_image(image=image, by=draft.author),
        lambda: services.add_frame(report=draft, by=draft.author, file=jpeg_upload(photographed(seed=9))),
    ):
        with pytest.raises(Conflict):
            act()


def test_a_revision_can_drop_a_frame_which_stays_its_owner_s(draft, drain):
    kept = services.add_frame(report=draft, by=draft.author, file=jpeg_upload(photographed(seed=1)))
    dropped = services.add_frame(
        report=draft, by=draft.author, file=jpeg_upload(photographed(f_number=11, seed=2))
    )
    drain()
    services.submit_report(report=draft, by=draft.author)
    services.revise_report(
        report=draft,
        by=draft.author,
        reason="f/11 was shot with the hood on",
        changes={"images": [kept.public_id]},
    )
    assert [reading.f_number for reading in Reading.objects.all()] == [8]
    dropped.refresh_from_db()
    assert (dropped.report, dropped.owner) == (None, draft.author)


def test_a_picture_uploaded_before_joins_a_report_and_only_its_owner_s(draft, drain):
    image = services.keep_image(by=draft.author, file=jpeg_upload())
    foreign = services.keep_image(by=AccountFactory(), file=jpeg_upload(photographed(seed=3)))
    drain()
    services.attach_image(report=draft, image=image, by=draft.author)
    with pytest.raises(NotAllowed):
        services.attach_image(report=draft, image=foreign, by=draft.author)
    drain()
    assert Reading.objects.get().image == image


def test_measuring_a_frame_twice_changes_nothing(draft, drain):
    from registry.reports.tasks import measure_frame

    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    drain()
    measure_frame.call(image.pk)
    assert Measurement.objects.count() == 1
    assert Reading.objects.count() == 1


def test_repeats_of_a_stop_give_the_sweep_s_repeatability(draft, drain):
    for number in range(3):
        frame = photographed(frame=number, seed=5)
        services.add_frame(report=draft, by=draft.author, file=jpeg_upload(frame, f"{number}.jpg"))
    drain()
    sweep = draft.sweeps.get()
    assert sweep.readings.count() == 3
    assert 0 <= sweep.repeatability_ev < 0.05
