"""The EXIF that a camera writes beside a frame, private entries on request.

Tags and types follow the standard CIPA DC-008 (Exif 2.32).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Any

from PIL.ExifTags import GPS, IFD, Base
from PIL.TiffImagePlugin import IFDRational, ImageFileDirectory_v2

from registry.simulation.render import Rendered

FULL_FRAME_HALF_DIAGONAL_MM = 21.63


@dataclass(frozen=True)
class PrivateExif:
    """What a camera may reveal of its owner. latitude, longitude: degrees, north and east positive."""

    latitude: float | None = None
    longitude: float | None = None
    body_serial: str | None = None
    lens_serial: str | None = None
    owner: str | None = None
    comment: str | None = None


@dataclass(frozen=True)
class CameraExif:
    """What a camera says of a frame. None leaves the entry out; the frame's own f-number and focal length are
    written unless `f_number` or `focal_length_mm` say otherwise (0 is what a lens without contacts gives).

    maker_note: bytes as a camera writes them for its maker alone, which software that edits a picture drops.
    orientation: 1, 3, 6 or 8; the stored picture is turned so that a reader who obeys sees it upright.
    """

    maker: str | None = "Osterby"
    model: str | None = "OSTERBY CAUSEY-6"
    lens: str | None = "Marram 50 mm f/1.8"
    exposure_seconds: Fraction | None = Fraction(1, 60)
    iso: int | None = 200
    taken_at: datetime | None = field(default=datetime(2026, 5, 9, 14, 30, 0))
    exposure_bias_ev: float | None = 0.0
    software: str | None = None
    maker_note: bytes | None = None
    orientation: int = 1
    f_number: float | None = None
    focal_length_mm: float | None = None
    with_f_number: bool = True
    with_focal_length: bool = True
    private: PrivateExif = PrivateExif()


def main_entries(exif: CameraExif) -> dict[int, Any]:
    """Entries of the main directory (0th IFD) by tag."""
    private = exif.private
    entries = {
        Base.Make: exif.maker,
        Base.Model: exif.model,
        Base.Orientation: exif.orientation,
        Base.Software: exif.software,
        Base.DateTime: _moment(exif.taken_at),
        Base.Artist: private.owner,
        Base.Copyright: private.owner,
    }
    return _present(entries)


def camera_entries(exif: CameraExif, rendered: Rendered) -> dict[int, Any]:
    """Entries of the Exif directory by tag."""
    f_number = rendered.f_number if exif.f_number is None else exif.f_number
    focal = rendered.scene.focal_length_mm if exif.focal_length_mm is None else exif.focal_length_mm
    in_35mm = round(focal * FULL_FRAME_HALF_DIAGONAL_MM / rendered.scene.half_diagonal_mm)
    private = exif.private
    comment = None if private.comment is None else b"ASCII\0\0\0" + private.comment.encode("ascii")
    entries = {
        Base.ExifVersion: b"0232",
        Base.ExposureTime: _rational(exif.exposure_seconds),
        Base.FNumber: _rational(f_number) if exif.with_f_number else None,
        Base.ISOSpeedRatings: exif.iso,
        Base.DateTimeOriginal: _moment(exif.taken_at),
        Base.ExposureBiasValue: _rational(exif.exposure_bias_ev),
        Base.FocalLength: _rational(focal) if exif.with_focal_length else None,
        Base.FocalLengthIn35mmFilm: in_35mm if exif.with_focal_length else None,
        Base.MakerNote: exif.maker_note,
        Base.LensModel: exif.lens,
        Base.CameraOwnerName: private.owner,
        Base.BodySerialNumber: private.body_serial,
        Base.LensSerialNumber: private.lens_serial,
        Base.UserComment: comment,
    }
    return _present(entries)


def position_entries(exif: CameraExif) -> dict[int, Any]:
    """Entries of the GPS directory by tag; empty without a position."""
    latitude, longitude = exif.private.latitude, exif.private.longitude
    if latitude is None or longitude is None:
        return {}
    return {
        GPS.GPSVersionID: b"\2\3\0\0",
        GPS.GPSLatitudeRef: "N" if latitude >= 0 else "S",
        GPS.GPSLatitude: _degrees(latitude),
        GPS.GPSLongitudeRef: "E" if longitude >= 0 else "W",
        GPS.GPSLongitude: _degrees(longitude),
    }


def exif_block(exif: CameraExif, rendered: Rendered) -> bytes:
    """The whole block as JPEG and PNG carry it: "Exif", then a little-endian TIFF structure."""
    directory = ImageFileDirectory_v2(prefix=b"II")
    for tag, value in main_entries(exif).items():
        directory[tag] = value
    directory[IFD.Exif] = camera_entries(exif, rendered)
    position = position_entries(exif)
    if position:
        directory[IFD.GPSInfo] = position
    return b"Exif\0\0II*\0\x08\0\0\0" + directory.tobytes(8)


def directory_bytes(entries: dict[int, Any], offset: int) -> bytes:
    """One little-endian TIFF directory as it stands at `offset` bytes into a file."""
    directory = ImageFileDirectory_v2(prefix=b"II")
    for tag, value in entries.items():
        directory[tag] = value
    return directory.tobytes(offset)


def _present(entries: dict[int, Any]) -> dict[int, Any]:
    return {int(tag): value for tag, value in entries.items() if value is not None}


def _moment(moment: datetime | None) -> str | None:
    return None if moment is None else moment.strftime("%Y:%m:%d %H:%M:%S")


def _rational(number: float | Fraction | None) -> IFDRational | None:
    if number is None:
        return None
    exact = Fraction(number).limit_denominator(8000 if number < 1 else 100)
    return IFDRational(exact.numerator, exact.denominator)


def _degrees(angle: float) -> tuple[IFDRational, IFDRational, IFDRational]:
    thousandths = round(abs(angle) * 3_600_000)
    degrees, rest = divmod(thousandths, 3_600_000)
    minutes, seconds = divmod(rest, 60_000)
    return IFDRational(degrees, 1), IFDRational(minutes, 1), IFDRational(seconds, 1000)
