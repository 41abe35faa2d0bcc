"""What a draft waits for: files announced before they are sent, so that a broken upload can go on where it stopped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from registry.accounts.models import Account
from registry.errors import CleanstopError, InvalidInput, Problem
from registry.reports.models import AwaitedFrame, Report, SampleImage
from registry.reports.rules.announced import AnnouncedFile, plain_name, read_announced
from registry.reports.services.holding import hold_report


@dataclass(frozen=True)
class Announced:
    """An announced file, and the frame of the draft that it is already, if any."""

    file: AnnouncedFile
    image: SampleImage | None


@transaction.atomic
def announce_frames(*, report: Report, by: Account, files: Sequence[Mapping[str, Any]]) -> list[Announced]:
    """Note which files are about to be sent to a draft, and tell which of them are here already.

    files: each with name, size (bytes) and sha256 (hexadecimal; where it is missing, name and size stand for it).
    Announcing the same files again changes nothing. Raises InvalidInput (too-many-frames) when the draft can't hold
    them all; nothing is noted then.
    """
    hold_report(report, by=by)
    announced = read_announced(files)
    frames = list(report.images.all())
    answers = [Announced(file, _frame_of(file, frames)) for file in announced]
    missing = [answer.file for answer in answers if answer.image is None]
    _check_room(report, len(frames), missing)
    for file in missing:
        AwaitedFrame.objects.update_or_create(
            report=report,
            file_name=file.name,
            byte_size=file.byte_size,
            content_hash=file.content_hash,
            defaults={"problem": None},
        )
    return answers


@transaction.atomic
def turn_away(*, report: Report, by: Account, name: str, byte_size: int, error: CleanstopError) -> None:
    """Note that a file was refused at the door, and why, so that nobody waits for it any longer."""
    hold_report(report, by=by)
    name = plain_name(name)
    problem = asdict(error.first)
    found = report.awaited.filter(file_name=name, byte_size=byte_size).update(problem=problem)
    if not found:
        AwaitedFrame.objects.create(report=report, file_name=name, byte_size=byte_size, problem=problem)


@transaction.atomic
def stop_awaiting(*, report: Report, by: Account) -> None:
    """Forget what was announced for a draft and has not arrived."""
    hold_report(report, by=by)
    report.awaited.all().delete()


def has_arrived(report: Report, *, name: str, byte_size: int, content_hash: str) -> None:
    """Take a frame that has just come off a held draft's list of awaited ones."""
    unhashed = Q(content_hash="", file_name=name, byte_size=byte_size)
    report.awaited.filter(unhashed | Q(content_hash=content_hash)).delete()


def _frame_of(file: AnnouncedFile, frames: list[SampleImage]) -> SampleImage | None:
    def is_it(frame: SampleImage) -> bool:
        if file.content_hash:
            return frame.content_hash == file.content_hash
        return (frame.file_name, frame.byte_size) == (file.name, file.byte_size)

    return next((frame for frame in frames if is_it(frame)), None)


def _check_room(report: Report, arrived: int, missing: list[AnnouncedFile]) -> None:
    known = set(report.awaited.filter(problem=None).values_list("file_name", "byte_size", "content_hash")) | {
        (file.name, file.byte_size, file.content_hash) for file in missing
    }
    most, wanted = settings.FRAMES_PER_REPORT, arrived + len(known)
    if missing and wanted > most:
        raise InvalidInput(
            Problem(
                code="too-many-frames",
                field="files",
                value=wanted,
                says=f"With these it would be {wanted} frames, and a report takes {most}.",
                remedy="Leave some out, or put another focal length into a report of its own.",
            )
        )
