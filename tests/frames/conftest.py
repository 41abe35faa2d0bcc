"""Builders of frames and of hostile files; everything is made in the test that uses it."""

from __future__ import annotations

import io
import struct
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from registry.frames.confinement import close_chamber
from registry.frames.encoding import linear_to_srgb

# TIFF field types (TIFF 6.0, section 2): byte, ASCII, short, long, rational, signed rational.
_BYTE, _ASCII, _SHORT, _LONG, _RATIONAL, _SIGNED_RATIONAL = 1, 2, 3, 4, 5, 10
_SIZES = {_BYTE: "B", _SHORT: "H", _LONG: "I"}


def _target(width: int = 600, height: int = 400, level: float = 0.3, excess_ev: float = 0.0) -> np.ndarray:
    """Linear light (height, width, 3) of an evenly lit target with falloff and perhaps a hotspot."""
    half_diagonal = np.hypot(width, height) / 2
    y, x = np.mgrid[0:height, 0:width]
    radius = np.hypot(x - (width - 1) / 2, y - (height - 1) / 2) / half_diagonal
    light = level * 2 ** (-0.6 * radius**2 + excess_ev * np.exp(-np.log(2) * (radius / 0.2) ** 2))
    return np.repeat(light[..., None], 3, axis=2)


def _codes(light: np.ndarray, bits: int = 8) -> np.ndarray:
    top = 2**bits - 1
    return np.rint(top * linear_to_srgb(light)).astype(np.uint8 if bits == 8 else np.uint16)


def _exif(**extra) -> Image.Exif:
    """EXIF as a camera writes it, of an invented body and lens."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Osterby", "Tern 2"
    exif.get_ifd(0x8769).update(
        {
            0x829A: IFDRational(1, 125),
            0x829D: IFDRational(56, 10),
            0x8827: 200,
            0x9003: "2031:06:02 21:40:05",
            0x9204: IFDRational(-1, 3),
            0x920A: IFDRational(35, 1),
            0xA405: 52,
            0xA434: "Quillmark 35 mm f/2",
        }
    )
    for tag, value in extra.pop("first", {}).items():
        exif[tag] = value
    exif.get_ifd(0x8769).update(extra.pop("inner", {}))
    return exif


def _jpeg(light: np.ndarray, **options) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(_codes(light)).save(buffer, "JPEG", **{"quality": 92, **options})
    return buffer.getvalue()


def _directory(entries: list[tuple[int, int, object]], start: int) -> bytes:
    """One TIFF image file directory at a byte position, followed by its values."""
    entries = sorted(entries)
    after = start + 2 + 12 * len(entries) + 4
    table, values = struct.pack("<H", len(entries)), b""
    for tag, kind, value in entries:
        if kind == _ASCII:
            data, count = value.encode() + b"\0", len(value) + 1
        elif kind in (_RATIONAL, _SIGNED_RATIONAL):
            pairs = [Fraction(number).limit_denominator(10**6) for number in value]
            data = b"".join(struct.pack("<II", pair.numerator, pair.denominator) for pair in pairs)
            count = len(pairs)
        else:
            numbers = value if isinstance(value, (list, tuple)) else [value]
            data, count = struct.pack(f"<{len(numbers)}{_SIZES[kind]}", *numbers), len(numbers)
        if len(data) > 4:
            place = struct.pack("<I", after + len(values))
            values += data + b"\0" * (len(data) % 2)
        else:
            place = data.ljust(4, b"\0")
        table += struct.pack("<HHI", tag, kind, count) + place
    return table + struct.pack("<I", 0) + values


def _dng_exif(serial: str) -> list[tuple[int, int, object]]:
    return [
        (33434, _RATIONAL, [Fraction(1, 125)]),
        (33437, _RATIONAL, [8]),
        (34855, _SHORT, 200),
        (37386, _RATIONAL, [35]),
        (36867, _ASCII, "2031:06:02 21:40:05"),
        (42036, _ASCII, "Quillmark 35 mm f/2"),
        (42033, _ASCII, serial),
    ]


def _dng(
    light: np.ndarray,
    *,
    mosaic: bool = True,
    black: int = 512,
    white: int = 16383,
    flip: int = 1,
    serial: str = "1",
) -> bytes:
    """A small DNG: a Bayer mosaic (red first) or linear RGB, with the tags that a reader needs."""
    numbers = np.rint(np.clip(light, 0, 1) * (white - black) + black).astype("<u2")
    height, width = light.shape[:2]
    if mosaic:
        picked = np.empty((height, width), dtype="<u2")
        for (row, column), channel in zip(np.ndindex(2, 2), (0, 1, 1, 2), strict=True):
            picked[row::2, column::2] = numbers[row::2, column::2, channel]
        numbers = picked
    samples = 1 if mosaic else 3
    pixels = numbers.tobytes()
    exif_at = 8 + len(pixels)
    exif = _directory(_dng_exif(serial), exif_at)
    entries = [
        (254, _LONG, 0),
        (256, _LONG, width),
        (257, _LONG, height),
        (258, _SHORT, [16] * samples),
        (259, _SHORT, 1),
        (262, _SHORT, 32803 if mosaic else 34892),
        (271, _ASCII, "Osterby"),
        (272, _ASCII, "Tern 2"),
        (273, _LONG, 8),
        (274, _SHORT, flip),
        (277, _SHORT, samples),
        (278, _LONG, height),
        (279, _LONG, len(pixels)),
        (284, _SHORT, 1),
        (34665, _LONG, exif_at),
        (50706, _BYTE, [1, 4, 0, 0]),
        (50707, _BYTE, [1, 1, 0, 0]),
        (50708, _ASCII, "Osterby Tern 2"),
        (50714, _SHORT, [black] * (1 if mosaic else 3)),
        (50717, _SHORT, [white] * (1 if mosaic else 3)),
        (50721, _SIGNED_RATIONAL, [1, 0, 0, 0, 1, 0, 0, 0, 1]),
        (50728, _RATIONAL, [1, 1, 1]),
        (50778, _SHORT, 21),
    ]
    if mosaic:
        entries += [
            (33421, _SHORT, [2, 2]),
            (33422, _BYTE, [0, 1, 1, 2]),
            (50710, _BYTE, [0, 1, 2]),
            (50711, _SHORT, 1),
        ]
    start = exif_at + len(exif)
    return b"II*\0" + struct.pack("<I", start) + pixels + exif + _directory(entries, start)


@pytest.fixture
def make() -> SimpleNamespace:
    """The builders by name."""
    return SimpleNamespace(target=_target, codes=_codes, exif=_exif, jpeg=_jpeg, dng=_dng)


@pytest.fixture
def put(tmp_path: Path):
    """Write bytes as a file in this test's folder."""

    def put(data: bytes, name: str = "frame.jpg") -> Path:
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return put


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """An empty working directory for taking frames in."""
    folder = tmp_path / "room"
    folder.mkdir()
    return folder


@pytest.fixture(scope="session", autouse=True)
def _chamber_ends():
    yield
    close_chamber()
