"""Taking frames from a contributor, and what they say about them afterwards."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django.conf import settings
from django.core.files import File
from django.db import transaction

from registry.accounts.models import Account
from registry.errors import Conflict, InvalidInput, NotAllowed, Problem
from registry.reports import storage
from registry.reports.models import ImagePurpose, ImageState, Report, SampleImage
from registry.reports.rules.announced import plain_name
from registry.reports.rules.contents import IMAGE_CHANGES, Tested, read_image_changes
from registry.reports.rules.inputs import Input
from registry.reports.services.awaiting import has_arrived
from registry.reports.services.evidence import tested_in
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.measuring import COULD_NOT_BE_MEASURED, settle
from registry.reports.services.queueing import enqueue

MOST_LOOSE_IMAGES = 1000  # uploaded without a report, waiting for one
JUDGED = (ImageState.MEASURED, ImageState.UNCERTAIN, ImageState.REJECTED)


@transaction.atomic
def add_frame(
    *,
    report: Report,
    by: Account,
    file: File,
    purpose: str = ImagePurpose.TARGET,
    expected_version: int | None = None,
) -> SampleImage:
    """Take one frame into a draft and queue its measuring; the same file again gives the one that is there.

    Raises Unreadable for what is no picture, TooLarge over its format's limit, InvalidInput over
    settings.FRAMES_PER_REPORT or for an unknown purpose. A refused file leaves the draft as it was.
    """
    arrival = storage.inspect(file)
    hold_report(report, by=by, expected_version=expected_version)
    has_arrived(
        report,
        name=plain_name(file.name),
        byte_size=arrival.byte_size,
        content_hash=arrival.content_hash,
    )
    known = report.images.filter(content_hash=arrival.content_hash).first()
    if known is not None:
        return _arrived_again(known, file)
    _check_room(report)
    image = _store(by, file, arrival, purpose, report)
    write_report(report)
    return image


@transaction.atomic
def keep_image(*, by: Account, file: File, purpose: str = ImagePurpose.TARGET) -> SampleImage:
    """Take one frame that belongs to no report yet, to be named by its public id later. Raises as add_frame does."""
    arrival = storage.inspect(file)
    loose = SampleImage.objects.filter(owner=by, report=None)
    known = loose.filter(content_hash=arrival.content_hash).first()
    if known is not None:
        return _arrived_again(known, file)
    if loose.count() >= MOST_LOOSE_IMAGES:
        raise InvalidInput(
            Problem(
                code="too-many-frames",
                field="frame",
                value=MOST_LOOSE_IMAGES,
                says=f"{MOST_LOOSE_IMAGES} of your pictures wait for a report already.",
                remedy="File the reports they belong to, or delete some, then go on.",
            )
        )
    return _store(by, file, arrival, purpose, None)


@transaction.atomic
def attach_image(
    *, report: Report, image: SampleImage, by: Account, expected_version: int | None = None, **said: Any
) -> SampleImage:
    """Make a picture that was uploaded before part of a draft; said is what correct_image takes.

    Where the same file is in the report already, that one is returned and the other left alone.
    """
    hold_report(report, by=by, expected_version=expected_version)
    changes = _read_changes(said, tested_in(report))
    attached = attach(report, image, changes)
    settle(report)
    write_report(report)
    return attached


@transaction.atomic
def correct_image(
    *, image: SampleImage, by: Account, expected_version: int | None = None, **said: Any
) -> SampleImage:
    """Correct what EXIF said of a frame, or grade it by eye.

    said: f_number, focal_length_mm, grade (0–4), purpose; only what is given changes, and None clears it.
    Raises InvalidInput as for typed readings, Conflict when its report is no draft.
    """
    if image.report is None:
        _check_owner(image, by)
        change_image(image, _read_changes(said, None))
        return image
    report = hold_report(image.report, by=by, expected_version=expected_version)
    image.refresh_from_db()
    change_image(image, _read_changes(said, tested_in(report), image.focal_length_mm))
    settle(report)
    write_report(report)
    return image


@transaction.atomic
def correct_images(
    *,
    report: Report,
    by: Account,
    corrections: Mapping[str, Mapping[str, Any]],
    expected_version: int | None = None,
) -> None:
    """Correct many frames of a draft at once; all of them or none.

    corrections: by a frame's public id, what correct_image takes. Raises InvalidInput with every problem, at fields
    such as `frames[k3x9].f_number`.
    """
    hold_report(report, by=by, expected_version=expected_version)
    frames = {frame.public_id: frame for frame in report.images.filter(public_id__in=corrections)}
    problems: list[Problem] = []
    changes = {
        public_id: _read_correction(public_id, said, frames.get(public_id), tested_in(report), problems)
        for public_id, said in corrections.items()
    }
    if problems:
        raise InvalidInput(problems)
    for public_id, changed in changes.items():
        change_image(frames[public_id], changed)
    settle(report)
    write_report(report)


def _read_correction(
    public_id: str,
    said: Mapping[str, Any],
    frame: SampleImage | None,
    tested: Tested,
    problems: list[Problem],
) -> dict[str, Any]:
    source = Input(said, f"frames[{public_id}]", problems)
    if frame is None:
        source.refuse(
            "unknown-image",
            "",
            public_id,
            f"This report has no frame {public_id}.",
            "Reload the page: the frame may have been taken out meanwhile.",
        )
        return {}
    source.known(IMAGE_CHANGES)
    return read_image_changes(source, tested, frame.focal_length_mm)


@transaction.atomic
def remove_image(*, image: SampleImage, by: Account, expected_version: int | None = None) -> None:
    """Delete a frame of a draft, or one that belongs to no report, with all that was made of it."""
    if image.report is not None:
        remove_images(
            report=image.report, by=by, public_ids=[image.public_id], expected_version=expected_version
        )
        return
    _check_owner(image, by)
    _delete([image])


@transaction.atomic
def remove_images(
    *, report: Report, by: Account, public_ids: Collection[str], expected_version: int | None = None
) -> int:
    """Delete frames of a draft with all that was made of them; returns how many there were."""
    hold_report(report, by=by, expected_version=expected_version)
    images = list(report.images.filter(public_id__in=public_ids))
    _delete(images)
    settle(report)
    write_report(report)
    return len(images)


def _delete(images: list[SampleImage]) -> None:
    for image in images:
        image.refresh_from_db()
        image.readings.all().delete()
        image.delete()
    private_names = [name for image in images for name in (image.original, image.kept)]
    public_names = [name for image in images for name in (image.picture, image.thumbnail)]
    transaction.on_commit(lambda: storage.discard(private_names=private_names, public_names=public_names))


def attach(report: Report, image: SampleImage, changes: dict[str, Any]) -> SampleImage:
    """Join a picture to a held report, with checked changes."""
    _check_owner(image, report.author)
    if image.report_id not in (None, report.pk):
        raise Conflict(
            Problem(
                code="image-of-another-report",
                field="image",
                value=image.public_id,
                says=f"Picture {image.public_id} belongs to report {image.report.public_id}.",
                remedy="Upload the frame for this report, or name another picture.",
            )
        )
    twin = report.images.filter(content_hash=image.content_hash).exclude(pk=image.pk).first()
    if twin is not None:
        change_image(twin, changes)
        return twin
    if image.report_id is None:
        _check_room(report)
        image.report = report
        image.save(update_fields=["report", "updated_at"])
        # The lens and rig are known only now, and measuring leans on them.
        if image.state in JUDGED:
            _measure_again(image)
    change_image(image, changes)
    return image


def change_image(image: SampleImage, changes: dict[str, Any]) -> None:
    """Store checked changes; a frame whose stop, focal length or purpose changed is measured again, and a proof
    picture is only kept."""
    changed = {name for name, value in changes.items() if getattr(image, name) != value}
    if not changed:
        return
    for name in changed:
        setattr(image, name, changes[name])
    image.save(update_fields=[*changed, "updated_at"])
    read = image.state in (*JUDGED, ImageState.KEPT, ImageState.TAKEN_IN)
    if read and image.purpose == ImagePurpose.PROOF:
        image.state = ImageState.KEPT
        image.save(update_fields=["state", "updated_at"])
    elif changed - {"grade"} and image.state in (*JUDGED, ImageState.KEPT):
        _measure_again(image)


def _measure_again(image: SampleImage) -> None:
    image.state = ImageState.TAKEN_IN
    image.save(update_fields=["state", "updated_at"])
    enqueue("measure_frame", image.pk)


def _store(
    by: Account, file: File, arrival: storage.Arrival, purpose: str, report: Report | None
) -> SampleImage:
    source = Input({"purpose": purpose})
    source.choice("purpose", ImagePurpose.values, what="Purpose")
    source.raise_problems()
    image = SampleImage(
        owner=by,
        report=report,
        purpose=purpose,
        file_name=plain_name(file.name),
        byte_size=arrival.byte_size,
        content_hash=arrival.content_hash,
        kind=arrival.kind,
    )
    image.original = storage.keep_arriving(image.public_id, file)
    try:
        image.save()
        enqueue("measure_frame", image.pk)
    except Exception:
        storage.discard(private_names=[image.original])
        raise
    return image


def _arrived_again(image: SampleImage, file: File) -> SampleImage:
    """The frame that is here already; one that failed on our side is given another try."""
    if image.state == ImageState.UNREADABLE and image.problem["code"] == COULD_NOT_BE_MEASURED:
        image.original = storage.keep_arriving(image.public_id, file)
        image.state, image.problem = ImageState.ARRIVED, None
        image.save(update_fields=["original", "state", "problem", "updated_at"])
        enqueue("measure_frame", image.pk)
    return image


def _read_changes(
    said: dict[str, Any], tested: Tested | None, focal_length_mm: float | None = None
) -> dict[str, Any]:
    source = Input(said)
    source.known(IMAGE_CHANGES)
    changes = read_image_changes(source, tested, focal_length_mm)
    source.raise_problems()
    return changes


def _check_room(report: Report) -> None:
    if report.images.count() >= settings.FRAMES_PER_REPORT:
        raise InvalidInput(
            Problem(
                code="too-many-frames",
                field="frame",
                value=settings.FRAMES_PER_REPORT,
                says=f"A report takes {settings.FRAMES_PER_REPORT} frames, and this one has them all.",
                remedy="Remove frames that add nothing, or file a second report.",
            )
        )


def _check_owner(image: SampleImage, by: Account) -> None:
    if image.owner_id != by.pk:
        raise NotAllowed(
            Problem(
                code="not-your-image",
                field="image",
                value=image.public_id,
                says=f"Picture {image.public_id} is not yours.",
                remedy="Name a picture that you uploaded.",
            )
        )
