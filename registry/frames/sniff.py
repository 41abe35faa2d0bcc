"""What a file is, told from its first bytes; its name is never believed.

Signatures: JPEG (ISO/IEC 10918-1: SOI and a marker), PNG (ISO/IEC 15948, 5.2), TIFF (TIFF 6.0, section 2),
ISO base media brands (ISO/IEC 14496-12 and 23008-12); those of raw containers are common practice, no source.
"""

from __future__ import annotations

import struct
from pathlib import Path

from registry.frames import refusals
from registry.frames.limits import FrameLimits

HEAD_BYTES = 64
_TIFF_MAGIC = (b"II*\0", b"MM\0*")
_RAW_MAGIC = (
    b"IIU\0",
    b"IIRO",
    b"IIRS",
    b"MMOR",
    bytes.fromhex("46554a4946494c4d4343442d524157"),  # a maker's container that begins with its name
)
_HEIC_BRANDS = (b"heic", b"heix", b"mif1", b"heim", b"heis")
_DNG_VERSION, _PHOTOMETRIC, _SUB_IFDS = 50706, 262, 330
_CFA, _LINEAR_RAW = 32803, 34892
_MOST_ENTRIES = 512


def sniff(path: Path) -> str:
    """The format of a file: "jpeg", "png", "tiff", "raw" or "heic".

    Raises Unreadable (not-an-image) for anything else.
    """
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if not head:
        raise refusals.empty_file()
    if head[:3] == b"\xff\xd8\xff":
        return "jpeg"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return "png"
    if head[:4] in _TIFF_MAGIC:
        return "raw" if _is_raw_tiff(path, head) else "tiff"
    if head.startswith(_RAW_MAGIC) or head[4:12] == b"ftypcrx ":
        return "raw"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIC_BRANDS:
        return "heic"
    raise refusals.not_an_image(head)


def check_file(path: Path, limits: FrameLimits) -> str:
    """The format of a file after the checks that need no decoding.

    Raises Unreadable (not-an-image) or TooLarge (file-too-large).
    """
    kind = sniff(path)
    size, limit = path.stat().st_size, limits.bytes_per_format[kind]
    if size > limit:
        raise refusals.file_too_large(kind, size, limit)
    return kind


def _is_raw_tiff(path: Path, head: bytes) -> bool:
    """Whether a TIFF container holds sensor data: a DNG, or a directory whose pixels are a mosaic."""
    if head[8:10] == b"CR":
        return True
    order = "<" if head[:2] == b"II" else ">"
    with path.open("rb") as file:
        first = _entries(file, struct.unpack(order + "I", head[4:8])[0], order)
        if _DNG_VERSION in first:
            return True
        directories = [first, *(_entries(file, offset, order) for offset in first.get(_SUB_IFDS, [])[:8])]
    return any(
        value in (_CFA, _LINEAR_RAW) for entries in directories for value in entries.get(_PHOTOMETRIC, [])
    )


def _entries(file, offset: int, order: str) -> dict[int, list[int]]:
    """The short and long values of one image file directory, by tag; empty where it is damaged."""
    file.seek(offset)
    count_bytes = file.read(2)
    if len(count_bytes) < 2:
        return {}
    count = min(struct.unpack(order + "H", count_bytes)[0], _MOST_ENTRIES)
    block = file.read(12 * count)
    entries = {}
    for start in range(0, len(block) - 11, 12):
        tag, kind, length = struct.unpack_from(order + "HHI", block, start)
        entries[tag] = _values(file, block[start + 8 : start + 12], kind, length, order)
    return entries


def _values(file, inline: bytes, kind: int, length: int, order: str) -> list[int]:
    letter = {1: "B", 3: "H", 4: "I", 13: "I"}.get(kind)
    if letter is None or not 1 <= length <= 16:
        return []
    size = struct.calcsize(f"{order}{length}{letter}")
    if size > 4:
        file.seek(struct.unpack(order + "I", inline)[0])
        inline = file.read(size)
    return list(struct.unpack(f"{order}{length}{letter}", inline[:size])) if len(inline) >= size else []
