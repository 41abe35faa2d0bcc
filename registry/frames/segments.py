"""The segments of a JPEG (ISO/IEC 10918-1, annex B): counted before decoding, filtered for keeping.

Filtering copies tables and scans byte for byte, so that what is kept decodes to exactly the same picture.
Beside them it keeps only the JFIF header (without its thumbnail), the ICC profile and the Adobe colour
transform, and, where a frame was held upright or written by a camera, one short segment that says so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from registry.frames import refusals

EOI, SOS = 0xD9, 0xDA
APP0, APP1, APP2, APP9, APP14 = 0xE0, 0xE1, 0xE2, 0xE9, 0xEE
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_DECODABLE_FRAMES = frozenset({0xC0, 0xC1, 0xC2, 0xC9, 0xCA})
_TABLES = frozenset({0xC4, 0xCC, 0xDB, 0xDC, 0xDD, 0xDE, 0xDF})
_MOST_SEGMENTS = 4_000
_OWN = b"Cleanstop\0"
# In entropy-coded data a marker is FF followed by neither a stuffed 00, a restart D0–D7 nor another FF.
_MARKER = re.compile(rb"\xff+[^\x00\xff]")
_NEXT_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


@dataclass
class JpegParts:
    """What a walk over a JPEG's segments found.

    width, height, components: as the frame header declares them.
    scans: how many scans it has.
    kept: the filtered file's pieces, without the start marker.
    exif: the TIFF structure within the first Exif segment, or nothing.
    facts: (orientation, written by a camera) from a segment of our own, or None.
    """

    width: int = 0
    height: int = 0
    components: int = 0
    scans: int = 0
    kept: list[bytes | memoryview] = field(default_factory=list)
    exif: bytes = b""
    facts: tuple[int, bool] | None = None


def walk(data: bytes, most_scans: int) -> JpegParts:
    """Read a JPEG's segments without decoding it.

    Raises Unreadable (truncated-image, unsupported-format) or TooLarge (too-many-scans).
    """
    parts = JpegParts()
    view = memoryview(data)
    position = 2
    for _ in range(_MOST_SEGMENTS + most_scans):
        start, marker = _marker_at(data, position)
        if marker == EOI:
            parts.kept.append(b"\xff\xd9")
            break
        length = int.from_bytes(data[start + 2 : start + 4], "big")
        end = start + 2 + length
        if length < 2 or end > len(data):
            raise refusals.truncated(f"it ends within the segment that starts at byte {start}", start)
        if marker == SOS:
            parts.scans += 1
            if parts.scans > most_scans:
                raise refusals.too_many_scans(parts.scans, most_scans)
            end = _end_of_scan(data, end)
        _take(parts, marker, view[start:end])
        position = end
    else:
        raise refusals.unsupported(
            f"This JPEG has more than {_MOST_SEGMENTS} segments.",
            "Save it again as a plain JPEG, or send the camera's own file.",
            _MOST_SEGMENTS,
        )
    if not parts.width or not parts.scans:
        raise refusals.truncated("it holds no picture data")
    return parts


def sanitised(parts: JpegParts, orientation: int, by_camera: bool) -> bytes:
    """The filtered JPEG: same pixels, nothing that tells of people or places."""
    own = b""
    if orientation != 1 or by_camera:
        payload = _OWN + bytes([orientation, by_camera])
        own = b"\xff\xe9" + (len(payload) + 2).to_bytes(2, "big") + payload
    return b"".join([b"\xff\xd8", own, *parts.kept])


def _marker_at(data: bytes, position: int) -> tuple[int, int]:
    """Position and code of the marker due at a position; fill bytes before it are passed over."""
    match = _MARKER.match(data, position)
    if match is None:
        raise refusals.truncated(f"no JPEG marker stands at byte {position} of {len(data)}", position)
    return match.end() - 2, data[match.end() - 1]


def _end_of_scan(data: bytes, position: int) -> int:
    match = _NEXT_MARKER.search(data, position)
    if match is None:
        raise refusals.truncated(f"its picture data break off at byte {len(data)}", len(data))
    return match.start()


def _take(parts: JpegParts, marker: int, segment: memoryview) -> None:
    """Note what a segment says and keep it if it belongs to the picture."""
    if marker in _FRAMES:
        _take_frame_header(parts, marker, segment)
    elif marker in _TABLES or marker == SOS:
        parts.kept.append(segment)
    elif marker == APP0 and segment[4:9] == b"JFIF\0" and len(segment) >= 16:
        parts.kept.append(b"\xff\xe0\0\x10" + bytes(segment[4:16]) + b"\0\0")
    elif marker == APP1 and segment[4:10] == b"Exif\0\0" and not parts.exif:
        parts.exif = bytes(segment[10:])
    elif marker == APP2 and segment[4:16] == b"ICC_PROFILE\0":
        parts.kept.append(segment)
    elif marker == APP14 and segment[4:9] == b"Adobe" and len(segment) >= 16:
        parts.kept.append(b"\xff\xee\0\x0e" + bytes(segment[4:16]))
    elif marker == APP9 and segment[4 : 4 + len(_OWN)] == _OWN and len(segment) == 6 + len(_OWN):
        orientation, by_camera = segment[-2], segment[-1]
        parts.facts = (orientation if 1 <= orientation <= 8 else 1, bool(by_camera))


def _take_frame_header(parts: JpegParts, marker: int, segment: memoryview) -> None:
    if marker not in _DECODABLE_FRAMES or len(segment) < 10 or segment[4] != 8 or parts.width:
        raise refusals.unsupported(
            f"This JPEG's coding (frame type {marker & 0x0F}, {segment[4] if len(segment) > 4 else 0} bit)"
            " is one that browsers and cameras don't use.",
            "Save it as a baseline or progressive 8-bit JPEG.",
            marker,
        )
    parts.height, parts.width = (int.from_bytes(segment[at : at + 2], "big") for at in (5, 7))
    parts.components = segment[9]
    parts.kept.append(segment)
