"""Files that mean harm, or came to it: each ends in a clear refusal, and nothing is left behind."""

from __future__ import annotations

import io
import os
import re
import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest
import tifffile
from PIL import Image

from registry.errors import CleanstopError, TooLarge, Unreadable
from registry.frames.intake import take_in
from registry.frames.limits import DEFAULT_LIMITS


@pytest.fixture
def refused(put, room):
    """Take bytes in, see them refused with everything a refusal owes, and return the problem."""

    def refused(data: bytes, limits=DEFAULT_LIMITS, name: str = "frame.jpg"):
        with pytest.raises(CleanstopError) as caught:
            take_in(put(data, name), limits=limits, working_directory=room)
        problem = caught.value.first
        assert not list(room.iterdir())
        assert problem.says.endswith(".")
        assert problem.remedy.endswith(".")
        assert "Traceback" not in str(problem)
        too_large = {"file-too-large", "pixel-flood", "too-many-scans", "too-many-pages"}
        assert isinstance(caught.value, TooLarge if problem.code in too_large else Unreadable)
        return problem

    return refused


def png_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int, height: int, *chunks: bytes, depth: int = 8, colour: int = 2, rows: bytes = b"") -> bytes:
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
    body = png_chunk(b"IDAT", zlib.compress(rows))
    return b"\x89PNG\r\n\x1a\n" + header + b"".join(chunks) + body + png_chunk(b"IEND", b"")


def tiff(codes: np.ndarray, **options) -> bytes:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, codes, **{"photometric": "rgb", **options})
    return buffer.getvalue()


def saved(image: Image.Image, form: str, **options) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, form, **options)
    return buffer.getvalue()


PLAIN = Image.new("RGB", (64, 48), (90, 90, 90))

NOT_IMAGES = {
    "nothing": b"",
    "one byte": b"\xff",
    "text": b"f/8 was clean, honestly\n" * 20,
    "page": b"<!doctype html><script>alert(1)</script>",
    "vector drawing": b"<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg'/>",
    "page description": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(/etc/passwd) run\n",
    "portable document": b"%PDF-1.7\n1 0 obj\n",
    "archive": b"PK\x03\x04" + bytes(60),
    "program": b"\x7fELF" + bytes(60),
    "animation": saved(PLAIN, "GIF"),
    "bitmap": saved(PLAIN, "BMP"),
    "zeros": bytes(4096),
    "moving picture": b"\0\0\0\x18ftypisom" + bytes(64),
}


@pytest.mark.parametrize("name", NOT_IMAGES)
def test_what_is_no_picture_is_said_to_be_none_whatever_its_name(name, refused):
    assert refused(NOT_IMAGES[name]).code == "not-an-image"


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.999])
@pytest.mark.parametrize("form", ["jpeg", "progressive", "png", "png16", "tiff", "tiff packed", "raw"])
def test_a_file_cut_short_is_refused_wherever_it_breaks_off(form, share, make, refused):
    light = make.target(320, 240) * np.random.default_rng(3).uniform(0.9, 1.1, (240, 320, 1))
    wide = make.codes(light, 16)
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in wide)
    whole = {
        "jpeg": lambda: make.jpeg(light),
        "progressive": lambda: make.jpeg(light, progressive=True),
        "png": lambda: saved(Image.fromarray(make.codes(light)), "PNG"),
        "png16": lambda: png(320, 240, depth=16, rows=rows),
        "tiff": lambda: tiff(wide),
        "tiff packed": lambda: tiff(wide, compression="zlib"),
        "raw": lambda: make.dng(light),
    }[form]()
    assert refused(whole[: int(len(whole) * share)]).code in {
        "truncated-image",
        "damaged-image",
        "unsupported-format",
    }


@pytest.mark.parametrize("form", ["jpeg", "png", "tiff"])
def test_a_file_cut_in_the_middle_of_its_pixels_is_called_incomplete(form, make, refused):
    light = make.target(320, 240)
    whole = {
        "jpeg": make.jpeg(light),
        "png": saved(Image.fromarray(make.codes(light)), "PNG"),
        "tiff": tiff(make.codes(light, 16)),
    }[form]
    problem = refused(whole[: len(whole) * 2 // 3])
    assert problem.code == "truncated-image"
    assert "again" in problem.remedy


def test_a_jpeg_of_too_many_scans_is_refused_before_decoding(make, refused):
    problem = refused(with_scans(make, 2500))
    assert problem.code == "too-many-scans"
    assert problem.value == 201


def with_scans(make, count: int, size: tuple[int, int] = (320, 240)) -> bytes:
    """A flat progressive JPEG with one of its scans, a few bytes, repeated: each costs a walk over all blocks."""
    flat = np.full((size[1], size[0], 3), 0.2, dtype=np.float32)
    data = make.jpeg(flat, progressive=True)
    start = data.index(b"\xff\xda", data.index(b"\xff\xda") + 2)
    end = re.compile(rb"\xff[^\x00\xd0-\xd7]").search(data, start + 2).start()
    scan = data[start:end]
    return data[:end] + scan * count + data[end:]


def test_ordinary_progressive_jpegs_are_taken(make, put, room):
    assert take_in(put(make.jpeg(make.target(), progressive=True)), working_directory=room)


def test_computing_time_is_limited(make, refused):
    limits = replace(DEFAULT_LIMITS, scans=100_000, cpu_seconds=1)
    problem = refused(with_scans(make, 4000, (4000, 3000)), limits)
    assert problem.code == "decoder-gave-up"
    assert "1 seconds of computing" in problem.says


def test_time_by_the_clock_is_limited(make, refused):
    limits = replace(DEFAULT_LIMITS, scans=100_000, wall_seconds=0.5)
    problem = refused(with_scans(make, 4000, (4000, 3000)), limits)
    assert problem.code == "decoder-gave-up"
    assert "0.5 seconds" in problem.says


def test_memory_is_limited(refused):
    rows = (b"\0" + bytes(3 * 8000)) * 8000
    limits = replace(DEFAULT_LIMITS, address_space=450_000_000)
    assert refused(png(8000, 8000, rows=rows), limits).code == "decoder-gave-up"


def test_the_size_of_what_is_written_is_limited(make, refused):
    noise = np.random.default_rng(5).integers(0, 65535, (600, 900, 3), dtype=np.uint16)
    problem = refused(tiff(noise), replace(DEFAULT_LIMITS, output_bytes=100_000))
    assert problem.code == "decoder-gave-up"
    assert "0 MB" in problem.says


@pytest.mark.parametrize("size", [(20_000, 20_000), (65_000, 10), (200_000, 200_000)])
def test_a_flood_of_claimed_pixels_is_refused_from_the_header(size, refused):
    problem = refused(png(*size))
    assert problem.code == "pixel-flood"
    assert problem.value == list(size)


def test_a_jpeg_that_claims_a_flood_of_pixels_is_refused(make, refused):
    data = bytearray(make.jpeg(make.target(64, 48)))
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", 60_000, 60_000)
    assert refused(bytes(data)).code == "pixel-flood"


def test_a_tiff_that_claims_a_flood_of_pixels_is_refused(make, refused):
    data = bytearray(tiff(make.codes(make.target(64, 48))))
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        places = [file.pages[0].tags[tag].valueoffset for tag in ("ImageWidth", "ImageLength")]
    for place in places:
        data[place : place + 4] = struct.pack("<I", 25_000)
    assert refused(bytes(data)).code == "pixel-flood"


def test_a_raw_file_that_claims_a_flood_of_pixels_is_refused(make, refused):
    light = make.target(64, 48)
    data = make.dng(light)
    wide, flood = struct.pack("<HHII", 256, 4, 1, 64), struct.pack("<HHII", 256, 4, 1, 40_000)
    assert refused(data.replace(wide, flood)).code in {"pixel-flood", "truncated-image", "unsupported-format"}


def test_a_picture_of_no_size_is_refused(refused):
    assert refused(png(0, 10)).code == "not-an-image"


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff", "raw"])
def test_each_format_has_its_own_limit_of_bytes(kind, make, refused):
    light = make.target(64, 48)
    data = {
        "jpeg": make.jpeg(light),
        "png": png(64, 48, rows=(b"\0" + bytes(192)) * 48),
        "tiff": tiff(make.codes(light)),
        "raw": make.dng(light),
    }[kind]
    limits = replace(DEFAULT_LIMITS, bytes_per_format={**DEFAULT_LIMITS.bytes_per_format, kind: 80})
    problem = refused(data, limits)
    assert problem.code == "file-too-large"
    assert problem.value == len(data)


def test_the_default_limits_leave_room_for_24_megapixels_at_16_bit():
    assert DEFAULT_LIMITS.bytes_per_format["tiff"] > 6000 * 4000 * 6


def test_a_tiff_of_too_many_pages_is_refused(make, refused):
    problem = refused(tiff(np.zeros((60, 8, 8, 3), np.uint8)))
    assert problem.code == "too-many-pages"


def test_an_animation_of_too_many_pictures_is_refused(refused):
    control = png_chunk(b"acTL", struct.pack(">II", 5000, 0))
    assert refused(png(8, 8, control, rows=(b"\0" + bytes(24)) * 8)).code == "too-many-pages"


def test_a_tiff_whose_directories_run_in_a_circle_ends(make, put, room):
    data = bytearray(tiff(make.codes(make.target(64, 48))))
    first = struct.unpack("<I", data[4:8])[0]
    count = struct.unpack("<H", data[first : first + 2])[0]
    after = first + 2 + 12 * count
    data[after : after + 4] = struct.pack("<I", first)
    try:
        assert take_in(put(bytes(data)), working_directory=room).width == 64
    except CleanstopError as error:
        assert error.first.code in {"truncated-image", "too-many-pages", "damaged-image"}


UNTAKEN = {
    "print colours": lambda make: saved(PLAIN.convert("CMYK"), "JPEG"),
    "print colours in a TIFF": lambda make: saved(PLAIN.convert("CMYK"), "TIFF"),
    "palette in a TIFF": lambda make: saved(PLAIN.convert("P"), "TIFF"),
    "one bit in a TIFF": lambda make: saved(PLAIN.convert("1"), "TIFF"),
    "floating point": lambda make: tiff(make.target(64, 48).astype(np.float32)),
    "video codes": lambda make: png(
        8, 8, png_chunk(b"cICP", bytes([9, 16, 0, 1])), rows=(b"\0" + bytes(24)) * 8
    ),
    "twelve bits": lambda make: make.jpeg(make.target(64, 48)).replace(
        b"\xff\xc0\0\x11\x08", b"\xff\xc1\0\x11\x0c"
    ),
    "lossless JPEG": lambda make: make.jpeg(make.target(64, 48)).replace(b"\xff\xc0", b"\xff\xc3"),
}


@pytest.mark.parametrize("name", UNTAKEN)
def test_codings_that_are_not_taken_are_named(name, make, refused):
    problem = refused(UNTAKEN[name](make))
    assert problem.code == "unsupported-format"


def test_bytes_scrambled_at_random_never_get_past_a_clear_refusal(make, put, room):
    light = make.target(160, 120)
    wholes = [
        make.jpeg(light, exif=make.exif()),
        make.jpeg(light, progressive=True),
        saved(Image.fromarray(make.codes(light)), "PNG"),
        tiff(make.codes(light, 16), compression="zlib"),
        make.dng(light),
    ]
    rng = np.random.default_rng(11)
    for number in range(60):
        data = bytearray(wholes[number % len(wholes)])
        reach = 400 if number % 2 else len(data)
        for place in rng.integers(4, min(reach, len(data)), 12):
            data[place] = rng.integers(256)
        try:
            take_in(put(bytes(data)), working_directory=room).discard()
        except CleanstopError as error:
            assert error.first.remedy
    assert not list(room.iterdir())


def test_a_profile_that_unpacks_to_a_flood_is_refused(refused):
    bomb = zlib.compress(bytes(100_000_000), 6)
    data = png(8, 8, png_chunk(b"iCCP", b"x\0\0" + bomb), rows=(b"\0" + bytes(24)) * 8)
    assert refused(data).code in {"damaged-image", "unsupported-format", "decoder-gave-up"}


def test_a_text_that_unpacks_to_a_flood_is_refused_or_ignored(put, room):
    bomb = zlib.compress(bytes(100_000_000), 6)
    data = png(8, 8, png_chunk(b"zTXt", b"x\0\0" + bomb), rows=(b"\0" + bytes(24)) * 8)
    try:
        take_in(put(data), working_directory=room)
    except CleanstopError as error:
        assert error.first.code in {"damaged-image", "decoder-gave-up"}


def test_a_jpeg_of_countless_segments_is_refused(make, refused):
    data = make.jpeg(make.target(64, 48))
    assert refused(data[:2] + b"\xff\xfe\0\2" * 100_000 + data[2:]).code == "unsupported-format"


def test_damaged_exif_costs_only_the_exif(make, put, room):
    data = make.jpeg(make.target(64, 48), exif=b"Exif\0\0II*\0" + bytes([255] * 200))
    taken = take_in(put(data), working_directory=room)
    assert taken.exif.f_number is None
    assert taken.width == 64


@pytest.mark.parametrize("profile", [b"x" * 200, bytes(128) + struct.pack(">I", 2**31) + bytes(100)])
def test_a_damaged_colour_profile_is_refused(profile, make, refused):
    assert refused(make.jpeg(make.target(64, 48), icc_profile=profile)).code == "unsupported-format"


def test_what_follows_the_picture_is_dropped(make, put, room):
    data = make.jpeg(make.target(64, 48)) + b"PK\x03\x04 hidden archive"
    assert b"hidden" not in take_in(put(data), working_directory=room).kept_path.read_bytes()


def test_a_pipe_or_folder_in_place_of_a_file_is_refused(tmp_path, room):
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path, tmp_path / "missing"):
        with pytest.raises(Unreadable) as caught:
            take_in(path, working_directory=room)
        assert caught.value.first.code == "not-an-image"
