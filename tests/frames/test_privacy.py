"""Nothing that tells of people or places gets past taking in."""

from __future__ import annotations

import io
import json
import struct

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, PngImagePlugin

from registry.frames.intake import take_in

MARKERS = (
    b"LATITUDE-MARK",
    b"SERIAL-MARK",
    b"OWNER-MARK",
    b"ARTIST-MARK",
    b"COMMENT-MARK",
    b"XMP-MARK",
    b"IPTC-MARK",
    b"MAKER-MARK",
    b"THUMB-MARK",
    b"TRAILER-MARK",
    b"UNIQUE-MARK",
    b"HOST-MARK",
)
# Exif 2.32 tags that name people, places or things that are one of a kind.
FIRST = {0x013B: "ARTIST-MARK", 0x8298: "OWNER-MARK", 0x010E: "COMMENT-MARK", 0x013C: "HOST-MARK"}
INNER = {
    0xA431: "SERIAL-MARK",
    0xA435: "SERIAL-MARK",
    0xA430: "OWNER-MARK",
    0x9286: b"ASCII\0\0\0COMMENT-MARK",
    0x927C: b"MAKER-MARK",
    0xA420: "UNIQUE-MARK",
}
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF>XMP-MARK</rdf:RDF></x:xmpmeta>'


def private_exif(make) -> Image.Exif:
    exif = make.exif(first=FIRST, inner=INNER)
    exif.get_ifd(0x8825).update(
        {1: "N", 2: (54.0, 5.0, 7.5), 29: "2031:06:02", 27: b"ASCII\0\0\0LATITUDE-MARK"}
    )
    return exif


def segment(marker: int, data: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(data) + 2) + data


def private_jpeg(make) -> bytes:
    """A JPEG with every place where a camera or a program may leave a trace."""
    data = make.jpeg(make.target(), exif=private_exif(make), comment=b"COMMENT-MARK", quality=90)
    extra = [
        segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP),
        segment(0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x09IPTC-MARK"),
        segment(0xE0, b"JFXX\0\x13\x01\x01THUMB-MARK"),
        segment(0xE2, b"MPF\0THUMB-MARK"),
        segment(0xEB, b"MAKER-MARK"),
        segment(0xEF, b"HOST-MARK"),
    ]
    return data[:2] + b"".join(extra) + data[2:] + b"TRAILER-MARK"


def private_png(make) -> bytes:
    text = PngImagePlugin.PngInfo()
    text.add_text("Author", "ARTIST-MARK")
    text.add_itxt("XML:com.adobe.xmp", XMP.decode())
    text.add_text("Comment", "COMMENT-MARK", zip=True)
    buffer = io.BytesIO()
    Image.fromarray(make.codes(make.target())).save(buffer, "PNG", pnginfo=text, exif=private_exif(make))
    return buffer.getvalue()


def private_tiff(make) -> bytes:
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        make.codes(make.target(), 16),
        photometric="rgb",
        description="COMMENT-MARK",
        extratags=[
            (315, 2, 0, "ARTIST-MARK", True),
            (33432, 2, 0, "OWNER-MARK", True),
            (700, 1, len(XMP), XMP, True),
            (33723, 7, 9, b"IPTC-MARK", True),
            (316, 2, 0, "HOST-MARK", True),
            (50735, 2, 0, "SERIAL-MARK", True),
        ],
    )
    return buffer.getvalue()


PRIVATE = {
    "jpeg": private_jpeg,
    "png": private_png,
    "tiff": private_tiff,
    "raw": lambda make: make.dng(make.target(), serial="SERIAL-MARK"),
}


@pytest.mark.parametrize("form", PRIVATE)
def test_no_private_mark_is_in_anything_kept_or_shown(form, make, put, room):
    data = PRIVATE[form](make)
    assert any(mark in data for mark in MARKERS)
    taken = take_in(put(data), working_directory=room)
    outputs = [path.read_bytes() for path in (taken.kept_path, taken.picture_path, taken.thumbnail_path)]
    outputs.append(json.dumps(taken.exif.to_dict()).encode())
    outputs.append(repr(taken).encode())
    for output in outputs:
        assert not [mark for mark in MARKERS if mark in output]
        assert b"2031:06:02" not in output


@pytest.mark.parametrize("form", PRIVATE)
def test_pictures_for_people_carry_no_metadata_at_all(form, make, put, room):
    taken = take_in(put(PRIVATE[form](make)), working_directory=room)
    for path in (taken.picture_path, taken.thumbnail_path):
        with Image.open(path) as picture:
            assert not picture.getexif()
            assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_kept_jpeg_has_only_the_segments_of_the_picture(make, put, room):
    profile = srgb_profile()
    data = make.jpeg(make.target(), exif=private_exif(make), icc_profile=profile, comment=b"COMMENT-MARK")
    kept = take_in(put(data), working_directory=room).kept_path.read_bytes()
    markers = list(segments_of(kept))
    own = {0xE9}  # says that a camera wrote the original, and how it was held
    assert set(markers) <= {0xE0, 0xE2, 0xEE, 0xDB, 0xC0, 0xC4, 0xDD, 0xDA} | own
    assert 0xE2 in markers


def srgb_profile() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def segments_of(data: bytes):
    """Markers up to the first scan, read here without the code under test (ISO/IEC 10918-1, B.1)."""
    place = 2
    while True:
        marker, length = data[place + 1], int.from_bytes(data[place + 2 : place + 4], "big")
        yield marker
        if marker == 0xDA:
            return
        place += 2 + length


def test_the_plain_kept_jpeg_has_no_segment_of_our_own(make, put, room):
    kept = take_in(
        put(make.jpeg(make.target(), exif=make.exif())), working_directory=room
    ).kept_path.read_bytes()
    assert set(segments_of(kept)) <= {0xE0, 0xDB, 0xC0, 0xC4, 0xDA}


def test_the_thumbnail_inside_a_jfif_header_is_dropped(make, put, room):
    data = make.jpeg(make.target())
    header = data.index(b"JFIF\0") - 4
    fat = segment(0xE0, b"JFIF\0\x01\x01\0\0\x01\0\x01" + bytes([2, 2]) + b"THUMB-MARK\0\0")
    kept = take_in(
        put(data[:header] + fat + data[header + 18 :]), working_directory=room
    ).kept_path.read_bytes()
    assert b"THUMB-MARK" not in kept
    with Image.open(io.BytesIO(kept)) as image:
        assert np.asarray(image).shape == (400, 600, 3)
