"""Many frames corrected at once: all of them or none, each problem at its own frame."""

import pytest

from registry.errors import InvalidInput
from registry.reports import queries, services
from registry.reports.models import ImageState, Reading
from tests.factories import LensFactory
from tests.report_factories import ReportFactory, jpeg_upload, photographed

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft():
    return ReportFactory(basis="measured", lens=LensFactory(widest_f=2.8))


@pytest.fixture
def frames(draft, drain):
    """Two measured frames of a lens without contacts."""
    taken = [
        services.add_frame(
            report=draft,
            by=draft.author,
            file=jpeg_upload(
                photographed(frame=number, size=(600, 400)), f"{number}.jpg", with_f_number=False
            ),
        )
        for number in range(2)
    ]
    drain()
    return taken


def correct(draft, corrections):
    services.correct_images(report=draft, by=draft.author, corrections=corrections)


def test_frames_corrected_together_are_measured_again_and_read(draft, frames, drain):
    assert not Reading.objects.exists()
    correct(draft, {frames[0].public_id: {"f_number": "4"}, frames[1].public_id: {"f_number": "5.6"}})
    drain()
    assert list(Reading.objects.values_list("f_number", flat=True)) == [4, 5.6]


def test_one_wrong_cell_keeps_every_frame_as_it_was(draft, frames):
    first, second = (frame.public_id for frame in frames)
    with pytest.raises(InvalidInput) as refused:
        correct(
            draft,
            {first: {"f_number": "4"}, second: {"f_number": "7.7", "focal_length_mm": "400"}, "gone": {}},
        )
    assert {(problem.field, problem.code) for problem in refused.value.problems} == {
        (f"frames[{second}].f_number", "f-number-not-marked"),
        (f"frames[{second}].focal_length_mm", "focal-length-outside-the-lens"),
        ("frames[gone]", "unknown-image"),
    }
    assert [frame.f_number for frame in draft.images.all()] == [None, None]


def test_a_stop_is_checked_at_the_focal_length_that_the_frame_has(drain):
    draft = ReportFactory(basis="measured", lens=LensFactory(zoom=True))
    frame = services.add_frame(
        report=draft, by=draft.author, file=jpeg_upload(f_number=8, focal_length_mm=70)
    )
    drain()
    with pytest.raises(InvalidInput) as refused:
        correct(draft, {frame.public_id: {"f_number": "2.8"}})
    assert refused.value.first.code == "wider-than-the-lens-opens"


def test_a_frame_that_turns_out_to_be_a_scene_is_kept_and_not_measured(draft, frames, drain):
    proof = frames[0]
    correct(draft, {proof.public_id: {"purpose": "proof", "f_number": "8"}})
    drain()
    proof.refresh_from_db()
    assert proof.state == ImageState.KEPT
    assert queries.overlay_of(proof) is None
    assert not Reading.objects.exists()


def test_a_picture_taken_for_a_scene_is_measured_once_it_is_a_frame(draft, frames, drain):
    frame = frames[0]
    correct(draft, {frame.public_id: {"purpose": "proof"}})
    correct(draft, {frame.public_id: {"purpose": "target", "f_number": "8"}})
    drain()
    assert Reading.objects.get().image == frame
