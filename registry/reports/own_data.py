"""Everything in the registry that is one contributor's, as a ZIP file, made while it is being sent.

ZIP: the .ZIP File Format Specification (APPNOTE 6.3), written by the standard library with data descriptors, since
what is sent can't be gone back to. Pictures are stored as they are; text is deflated.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable, Iterator
from typing import Any

from django.core.files.storage import Storage, default_storage
from django.utils import timezone

from registry.accounts.belongings import belongings_of
from registry.accounts.models import Account
from registry.accounts.queries import tokens_of
from registry.reports import storage
from registry.reports.models import Report, SampleImage
from registry.reports.services.revisions import content_of

READ_ME = """Everything that the registry holds of {name}, as of {now:%Y-%m-%d %H:%M} UTC.

account.json      the account and its tokens, without secrets
equipment.json    rigs and copies; of a serial number the registry knows only a one-way code
others.json       what else names the account: addresses, bag, watches and the like
replies.json      what was answered on reports
reports/ID.json   each report as it stands, with its state, frames, measurements and all earlier revisions; the form
                  under "content" is the one in which the API takes a report
pictures/ID.jpg   the pictures that anyone may see
kept/ID.*         what is kept privately of each frame for measuring it again
{missing}
Original files are not among it: the registry deletes them once they are measured.
"""


class _Outlet(io.RawIOBase):
    """Where the archive is written to; what has been written is taken away as it grows."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, piece: Any) -> int:
        self._pieces.append(bytes(piece))
        return len(piece)

    def taken(self) -> bytes:
        pieces, self._pieces = self._pieces, []
        return b"".join(pieces)


def archive_of(account: Account) -> Iterator[bytes]:
    """The ZIP file in pieces; no more than one file's piece is held at a time."""
    outlet = _Outlet()
    missing: list[str] = []
    with zipfile.ZipFile(outlet, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, told in _documents(account):
            archive.writestr(name, json.dumps(told, indent=1, ensure_ascii=False) + "\n")
            yield outlet.taken()
        for image in account.images.order_by("pk").iterator(chunk_size=200):
            for store, stored, folder in (
                (default_storage, image.picture, "pictures"),
                (storage.private(), image.kept, "kept"),
            ):
                if stored:
                    yield from _file(
                        archive, outlet, store, stored, f"{folder}/{_named(image, stored)}", missing
                    )
        gone = f"\nCould not be read, and is missing: {', '.join(missing)}\n" if missing else ""
        archive.writestr("README.txt", READ_ME.format(name=account.name, now=timezone.now(), missing=gone))
    yield outlet.taken()


def _file(
    archive: zipfile.ZipFile,
    outlet: _Outlet,
    store: Storage,
    stored: str,
    name: str,
    missing: list[str],
) -> Iterator[bytes]:
    """One stored file, in pieces; one that is lost is named in the end and spoils nothing."""
    try:
        opened = store.open(stored)
    except OSError:
        missing.append(name)
        return
    entry = zipfile.ZipInfo(name, timezone.now().timetuple()[:6])
    with opened, archive.open(entry, "w") as target:
        for chunk in opened.chunks():
            target.write(chunk)
            yield outlet.taken()
    yield outlet.taken()


def _named(image: SampleImage, stored: str) -> str:
    return f"{image.public_id}.{stored.rsplit('.', 1)[-1]}"


def _documents(account: Account) -> Iterable[tuple[str, Any]]:
    yield "account.json", _account(account)
    yield (
        "equipment.json",
        {
            "rigs": [
                {
                    "id": rig.public_id,
                    "body": rig.body.slug,
                    "conversion": rig.conversion,
                    "cut_on_nm": rig.cut_on_nm,
                    "label": rig.label,
                }
                for rig in account.rigs.select_related("body")
            ],
            "copies": [
                {
                    "id": copy.public_id,
                    "lens": copy.lens.slug,
                    "label": copy.label,
                    "serial_hash": copy.serial_hash,
                }
                for copy in account.copies.select_related("lens").order_by("pk")
            ],
        },
    )
    yield "others.json", belongings_of(account, but_app="reports")
    yield (
        "replies.json",
        [
            {"report": reply.report.public_id, "at": reply.at.isoformat(), "says": reply.says}
            for reply in account.replies.select_related("report")
        ],
    )
    for report in account.reports.order_by("pk").iterator(chunk_size=100):
        yield f"reports/{report.public_id}.json", _report(report)


def _account(account: Account) -> dict[str, Any]:
    return {
        "id": account.public_id,
        "name": account.name,
        "email": account.email,
        "role": account.role,
        "joined_at": account.joined_at.isoformat(),
        "last_sign_in": account.last_login and account.last_login.isoformat(),
        "tokens": [
            {
                "name": grant.name,
                "scopes": grant.scopes,
                "made_at": grant.token.created.isoformat(),
                "last_used_at": grant.last_used_at and grant.last_used_at.isoformat(),
            }
            for grant in tokens_of(account)
        ],
    }


def _report(report: Report) -> dict[str, Any]:
    moments = ("created_at", "updated_at", "submitted_at")
    return {
        "id": report.public_id,
        "state": report.state,
        "state_reason": report.state_reason,
        "revision": report.revision,
        **{name: (at := getattr(report, name)) and at.isoformat() for name in moments},
        "content": content_of(report),
        "frames": [_frame(image) for image in report.images.prefetch_related("measurements")],
        "revisions": [
            {
                "number": row.number,
                "reason": row.reason,
                "until": row.at.isoformat(),
                "content": row.content,
            }
            for row in report.revisions.all()
        ],
        "replies": [
            {"by": reply.by.name, "at": reply.at.isoformat(), "says": reply.says}
            for reply in report.replies.select_related("by")
        ],
    }


def _frame(image: SampleImage) -> dict[str, Any]:
    return {
        "id": image.public_id,
        "file_name": image.file_name,
        "byte_size": image.byte_size,
        "content_hash": image.content_hash,
        "purpose": image.purpose,
        "state": image.state,
        "exif": image.exif,
        "problem": image.problem,
        "measurements": [
            {
                "method_version": row.method_version,
                "from_sweep": row.from_sweep,
                "measured_at": row.measured_at.isoformat(),
                "result": row.result,
            }
            for row in image.measurements.all()
        ],
    }
