"""The list of files that a contributor is about to send for a draft, read and checked."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from registry.reports.rules.inputs import Input

MOST_FILES = 1000
_SHA256 = re.compile(r"[0-9a-f]{64}")
_LARGEST = 2**40


@dataclass(frozen=True)
class AnnouncedFile:
    """A file by its name, its size in bytes, and the SHA-256 of its content in hexadecimal ("" if unknown)."""

    name: str
    byte_size: int
    content_hash: str


def plain_name(name: str | None) -> str:
    """A file's own name without folders and control characters; shown to its owner only."""
    last = (name or "frame").replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[-200:] or "frame"


def read_announced(files: Sequence[Mapping[str, Any]]) -> list[AnnouncedFile]:
    """The announced files in order; one that is named twice stands once.

    Raises InvalidInput with fields such as `files[3].size`.
    """
    source = Input({"files": files})
    found = [_read_file(entry) for entry in source.each("files", most=MOST_FILES)]
    source.raise_problems()
    return list(dict.fromkeys(found))


def read_content_hash(source: Input, name: str) -> str:
    """A SHA-256 in hexadecimal, or "" when none is sent."""
    content_hash = source.text(name, longest=64, what="Content hash").lower()
    if content_hash and not _SHA256.fullmatch(content_hash):
        source.refuse(
            "content-hash-expected",
            name,
            content_hash,
            f"“{content_hash}” is no SHA-256.",
            "Send the 64 hexadecimal digits of the file's SHA-256.",
        )
    return content_hash


def _read_file(entry: Input) -> AnnouncedFile:
    entry.known(("name", "size", "sha256"))
    size = entry.whole("size", low=0, high=_LARGEST, what="Size in bytes")
    if entry.content.get("size") in (None, ""):
        entry.missing("size", "The file's size", "Send it in bytes.")
    name = entry.text("name", longest=1000, what="File name")
    return AnnouncedFile(plain_name(name), size or 0, read_content_hash(entry, "sha256"))
