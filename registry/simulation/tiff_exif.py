"""EXIF for files of the TIFF family: directories appended to a finished file, and the tags that point there.

tifffile writes every tag of the main directory but none that points to a directory below it. So a placeholder
of the next tag number keeps each place, and gets its true number and offset once the file's length is known.
"""

from __future__ import annotations

import io
from typing import Any

import tifffile
from PIL.ExifTags import IFD

from registry.simulation.exif import (
    CameraExif,
    camera_entries,
    directory_bytes,
    main_entries,
    position_entries,
)
from registry.simulation.render import Rendered

_LONG, _SHORT, _TEXT = "I", "H", "s"

_PLACEHOLDERS = {IFD.Exif: int(IFD.Exif) + 1, IFD.GPSInfo: int(IFD.GPSInfo) + 1}

TiffTag = tuple[int, str, int, Any, bool]


def main_tags(exif: CameraExif) -> list[TiffTag]:
    """The main directory's EXIF entries, with places for the directories below, as tifffile's extratags."""
    entries = main_entries(exif).items()
    places = [IFD.Exif, IFD.GPSInfo] if position_entries(exif) else [IFD.Exif]
    return [
        *((tag, _TEXT, 0, value, True) for tag, value in entries if isinstance(value, str)),
        *((tag, _SHORT, 1, value, True) for tag, value in entries if not isinstance(value, str)),
        *((_PLACEHOLDERS[place], _LONG, 1, 0, True) for place in places),
    ]


def add_exif(content: bytes, exif: CameraExif, rendered: Rendered) -> bytes:
    """The file with its Exif directory, and its GPS directory if there is a position, at its end.

    content: a little-endian TIFF or DNG written with the main_tags of the same exif.
    """
    buffer = io.BytesIO(content)
    parts = {IFD.Exif: camera_entries(exif, rendered), IFD.GPSInfo: position_entries(exif)}
    for part, entries in parts.items():
        if entries:
            offset = buffer.seek(0, io.SEEK_END)
            offset += buffer.write(b"\0" * (offset % 2))
            buffer.write(directory_bytes(entries, offset))
            _fill(buffer, part, offset)
    return buffer.getvalue()


def _fill(buffer: io.BytesIO, part: IFD, offset: int) -> None:
    buffer.seek(0)
    with tifffile.TiffFile(buffer) as file:
        place = file.pages[0].tags[_PLACEHOLDERS[part]]
        entry, value = place.offset, place.valueoffset
    buffer.seek(entry)
    buffer.write(int(part).to_bytes(2, "little"))
    buffer.seek(value)
    buffer.write(offset.to_bytes(4, "little"))
