"""What a contributor's file tells of places and people is gone before anything is kept."""

from datetime import timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from registry.reports import services
from registry.reports.models import Copy, ImageState, SampleImage
from registry.reports.services.upkeep import sweep_stale_originals
from registry.simulation.exif import PrivateExif
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory, jpeg_upload

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft():
    return ReportFactory(basis="measured")


def stored_bytes(settings) -> dict[str, bytes]:
    roots = (Path(settings.MEDIA_ROOT), Path(settings.PRIVATE_ROOT))
    return {str(path): path.read_bytes() for root in roots for path in root.rglob("*") if path.is_file()}


def arrived(settings) -> list[Path]:
    return [path for path in (Path(settings.PRIVATE_ROOT) / "arriving").rglob("*") if path.is_file()]


def test_location_serial_numbers_and_owner_are_nowhere_in_storage_or_rows(
    draft, drain, settings, django_capture_on_commit_callbacks
):
    private = PrivateExif(
        latitude=54.321987, longitude=-2.987654, body_serial="BODY-SERIAL-77123", lens_serial="LENS-SERIAL-88456",
        owner="Wrack Samphire-Holm", comment="behind my house at Tern Lane",
    )  # fmt: skip
    with django_capture_on_commit_callbacks(execute=True):
        services.add_frame(report=draft, by=draft.author, file=jpeg_upload(private=private))
        drain()
    image = SampleImage.objects.get()
    assert image.state in (ImageState.MEASURED, ImageState.UNCERTAIN)
    files = stored_bytes(settings)
    assert len(files) == 3  # kept, picture, thumbnail
    for secret in ("77123", "88456", "Samphire-Holm", "Tern Lane"):
        for path, content in files.items():
            assert secret.encode() not in content, f"{secret} in {path}"
            assert secret.encode("utf-16-le") not in content
        assert secret not in str(image.exif)
    assert "latitude" not in str(image.exif).lower()
    assert all(b"GPS" not in content for content in files.values())


def test_the_original_is_gone_once_the_frame_is_sanitised(
    draft, drain, settings, django_capture_on_commit_callbacks
):
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    assert len(arrived(settings)) == 1
    with django_capture_on_commit_callbacks(execute=True):
        drain()
    image.refresh_from_db()
    assert (arrived(settings), image.original) == ([], "")


def test_the_original_of_a_refused_frame_is_gone_too(
    draft, drain, settings, django_capture_on_commit_callbacks
):
    cut = jpeg_upload().read()[:4000]
    with django_capture_on_commit_callbacks(execute=True):
        services.add_frame(report=draft, by=draft.author, file=SimpleUploadedFile("cut.jpg", cut))
        drain()
    assert SampleImage.objects.get().state == ImageState.UNREADABLE
    assert stored_bytes(settings) == {}


def test_an_original_that_no_task_will_ever_take_in_is_cleaned_up(
    draft, settings, django_capture_on_commit_callbacks
):
    from django_tasks_db.models import DBTaskResult

    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    later = timezone.now() + timedelta(hours=2)
    assert sweep_stale_originals(now=later) == 0, "its task is still in the queue"
    DBTaskResult.objects.all().delete()
    with django_capture_on_commit_callbacks(execute=True):
        assert sweep_stale_originals(now=later) == 1
    image.refresh_from_db()
    assert (image.state, arrived(settings)) == (ImageState.UNREADABLE, [])


def test_a_fresh_original_is_left_alone(draft, settings):
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    assert sweep_stale_originals() == 0
    assert len(arrived(settings)) == 1


def test_an_arrived_file_whose_frame_was_rolled_back_is_cleaned_up(settings):
    storages["private"].save("arriving/orphan", ContentFile(b"left behind"))
    assert sweep_stale_originals(now=timezone.now() + timedelta(hours=2)) == 1
    assert arrived(settings) == []


def test_a_measurement_that_fails_on_our_side_still_deletes_the_original(
    draft, drain, settings, monkeypatch, django_capture_on_commit_callbacks
):
    def fail(*args, **named):
        raise MemoryError("decoder met its match")

    monkeypatch.setattr("registry.reports.tasks.take_in", fail)
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    with django_capture_on_commit_callbacks(execute=True), pytest.raises(Exception, match="failed"):
        drain()
    image = SampleImage.objects.get()
    assert (image.state, image.problem["code"]) == (ImageState.UNREADABLE, "could-not-be-measured")
    assert arrived(settings) == []
    monkeypatch.undo()
    again = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    assert (again, again.state) == (image, ImageState.ARRIVED), "sent again, it gets another try"


def test_a_discarded_draft_leaves_no_file(draft, drain, settings, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
        drain()
        services.discard_draft(report=draft, by=draft.author)
    assert stored_bytes(settings) == {}


def test_a_serial_number_is_recognised_but_not_kept():
    lens = LensFactory()
    mine = services.save_copy(holder=AccountFactory(), lens=lens, serial_number="ab 12-345")
    theirs = services.save_copy(holder=AccountFactory(), lens=lens, serial_number="AB12345")
    other = services.save_copy(holder=AccountFactory(), lens=LensFactory(), serial_number="AB12345")
    assert mine.serial_hash == theirs.serial_hash != other.serial_hash
    assert "12345" not in str(Copy.objects.values())
