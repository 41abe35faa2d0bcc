"""The few EXIF facts that a test needs; everything else is never read out.

Tags: Exif 2.32 (CIPA DC-008). Location, serial numbers, owner, artist, comments and maker's notes have no
place in KeptExif, so nothing downstream can store them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import exifread
from PIL import Image

from registry.optics.stops import LARGEST_F_NUMBER, SMALLEST_F_NUMBER

_EXIF_IFD = 0x8769
_MAKER_NOTE = 0x927C
# Tag numbers in the first directory and the Exif directory.
_MAKE, _MODEL, _ORIENTATION = 0x010F, 0x0110, 0x0112
_NUMBERS = {
    0x829A: "exposure_seconds",
    0x829D: "f_number",
    0x8827: "iso",
    0x9204: "exposure_bias",
    0x920A: "focal_length_mm",
    0xA405: "focal_length_35mm",
}
_TAKEN_AT, _OFFSET, _LENS_MODEL = 0x9003, 0x9011, 0xA434
_RANGES = {
    "exposure_seconds": (1e-6, 1e5),
    "f_number": (SMALLEST_F_NUMBER, LARGEST_F_NUMBER),
    "iso": (1, 1e8),
    "exposure_bias": (-20, 20),
    "focal_length_mm": (0.5, 5000),
    "focal_length_35mm": (0.5, 10000),
}
_LONGEST_TEXT = 80
# The same tags as exifread names them.
_READER_NAMES = {
    _MAKE: "Image Make",
    _MODEL: "Image Model",
    _ORIENTATION: "Image Orientation",
    0x829A: "EXIF ExposureTime",
    0x829D: "EXIF FNumber",
    0x8827: "EXIF ISOSpeedRatings",
    0x9204: "EXIF ExposureBiasValue",
    0x920A: "EXIF FocalLength",
    0xA405: "EXIF FocalLengthIn35mmFilm",
    _TAKEN_AT: "EXIF DateTimeOriginal",
    _OFFSET: "EXIF OffsetTimeOriginal",
    _LENS_MODEL: "EXIF LensModel",
}


@dataclass(frozen=True)
class KeptExif:
    """What is kept of a frame's EXIF; None for what is missing or makes no sense (f/0, 0 mm).

    taken_at: aware where the camera wrote its offset from UTC, else naive in the camera's local time.
    exposure_bias: in EV. exposure_seconds: shutter time. focal_length_35mm: equivalent on 36 × 24 mm.
    """

    f_number: float | None = None
    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    body_maker: str = ""
    body_model: str = ""
    lens_model: str = ""
    exposure_seconds: float | None = None
    iso: float | None = None
    taken_at: datetime | None = None
    exposure_bias: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON; taken_at as ISO 8601 text."""
        plain = {entry.name: getattr(self, entry.name) for entry in fields(self)}
        return plain | {"taken_at": self.taken_at.isoformat() if self.taken_at else None}

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> KeptExif:
        """Read back what to_dict gave; unknown keys are ignored."""
        known = {entry.name: plain[entry.name] for entry in fields(cls) if entry.name in plain}
        taken_at = known.get("taken_at")
        return cls(**known | {"taken_at": datetime.fromisoformat(taken_at) if taken_at else None})


@dataclass(frozen=True)
class ExifFacts:
    """KeptExif, and what decoding needs beside it: orientation (1–8) and whether a camera wrote the file."""

    kept: KeptExif = KeptExif()
    orientation: int = 1
    by_camera: bool = False


def facts_from_block(block: bytes) -> ExifFacts:
    """Facts from an Exif block (a TIFF structure, as in JPEG, PNG and HEIC); empty facts if it is damaged."""
    if not block:
        return ExifFacts()
    try:
        directory = Image.Exif()
        directory.load(block)
        values: dict[int, Any] = dict(directory) | dict(directory.get_ifd(_EXIF_IFD))
    except Exception:  # a damaged block may raise anything; the picture is still good without it
        return ExifFacts()
    return _facts(values, by_camera=bool(values.get(_MAKER_NOTE)))


def facts_from_file(path: Path) -> ExifFacts:
    """Facts from a TIFF or raw file; empty facts if its directories are damaged."""
    try:
        with path.open("rb") as file:
            found = exifread.process_file(file, details=False, extract_thumbnail=False)
    except Exception:  # as above
        return ExifFacts()
    values = {tag: found[name].values for tag, name in _READER_NAMES.items() if name in found}
    return _facts(values, by_camera=False)


def _facts(values: dict[int, Any], *, by_camera: bool) -> ExifFacts:
    numbers = {name: _number(values.get(tag), *_RANGES[name]) for tag, name in _NUMBERS.items()}
    kept = KeptExif(
        **numbers,
        body_maker=_text(values.get(_MAKE)),
        body_model=_text(values.get(_MODEL)),
        lens_model=_text(values.get(_LENS_MODEL)),
        taken_at=_time(_text(values.get(_TAKEN_AT)), _text(values.get(_OFFSET))),
    )
    orientation = _number(values.get(_ORIENTATION), 1, 8)
    return ExifFacts(kept, int(orientation) if orientation else 1, by_camera)


def exif_from_plain(plain: Any) -> KeptExif:
    """KeptExif from what to_dict gave, as somebody else may have written it: within the bounds of a camera's."""
    if not isinstance(plain, Mapping):
        return KeptExif()
    try:
        taken_at = datetime.fromisoformat(plain.get("taken_at") or "")
    except (TypeError, ValueError):
        taken_at = None
    return KeptExif(
        **{name: _number(plain.get(name), *bounds) for name, bounds in _RANGES.items()},
        **{name: _text(plain.get(name)) for name in ("body_maker", "body_model", "lens_model")},
        taken_at=taken_at,
    )


def _number(value: Any, low: float, high: float) -> float | None:
    """A finite number within bounds, or None."""
    while isinstance(value, (list, tuple)):
        value = value[0] if value else None
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and low <= number <= high else None


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return ""
    printable = "".join(letter for letter in value.split("\0")[0] if letter.isprintable())
    return printable.strip()[:_LONGEST_TEXT]


def _time(stamp: str, offset: str) -> datetime | None:
    try:
        taken_at = datetime.strptime(stamp, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    try:
        hours, minutes = offset.split(":")
        ahead = timedelta(hours=abs(int(hours)), minutes=int(minutes))
        return taken_at.replace(tzinfo=timezone(-ahead if hours.startswith("-") else ahead))
    except ValueError:
        return taken_at


def block_of(image: Image.Image) -> bytes:
    """The Exif block of an opened PNG or HEIC, without its leading signature."""
    block = image.info.get("exif") or b""
    return block[6:] if block.startswith(b"Exif\0\0") else block
