"""The facts of a camera's EXIF that are kept, read as written or not at all."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta, timezone

import exifread
import pytest
import tifffile
from PIL import Image

from registry.frames.exif import KeptExif
from registry.frames.local import read_local
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_tiff16
from registry.simulation.render import render_frame
from registry.simulation.scene import Scene


def kept(put, make, **extra) -> KeptExif:
    return read_local(put(make.jpeg(make.target(60, 40), exif=make.exif(**extra))))[1]


def test_a_cameras_facts_are_read_as_written(make, put):
    facts = kept(put, make)
    assert facts.f_number == pytest.approx(5.6)
    assert facts.focal_length_mm == pytest.approx(35)
    assert facts.focal_length_35mm == 52
    assert facts.exposure_seconds == pytest.approx(1 / 125)
    assert facts.exposure_bias == pytest.approx(-1 / 3, abs=1e-4)
    assert facts.iso == 200
    assert (facts.body_maker, facts.body_model) == ("Osterby", "Tern 2")
    assert facts.lens_model == "Quillmark 35 mm f/2"
    assert facts.taken_at == datetime(2031, 6, 2, 21, 40, 5)


def test_an_independent_reader_finds_the_same_numbers(make, put):
    path = put(make.jpeg(make.target(60, 40), exif=make.exif()))
    with path.open("rb") as file:
        tags = exifread.process_file(file, details=False)
    facts = read_local(path)[1]
    assert facts.f_number == pytest.approx(float(tags["EXIF FNumber"].values[0]))
    assert facts.focal_length_mm == pytest.approx(float(tags["EXIF FocalLength"].values[0]))
    assert facts.exposure_seconds == pytest.approx(float(tags["EXIF ExposureTime"].values[0]))


def test_the_time_is_aware_only_where_the_camera_says_its_offset(make, put):
    assert kept(put, make).taken_at.tzinfo is None
    aware = kept(put, make, inner={0x9011: "+05:30"}).taken_at
    assert aware == datetime(2031, 6, 2, 16, 10, 5, tzinfo=UTC)
    west = kept(put, make, inner={0x9011: "-03:00"}).taken_at
    assert west.tzinfo == timezone(timedelta(hours=-3))


@pytest.mark.parametrize("nonsense", ["0000:00:00 00:00:00", "    :  :     :  :  ", "yesterday", ""])
def test_a_clock_that_was_never_set_gives_no_time(nonsense, make, put):
    assert kept(put, make, inner={0x9003: nonsense}).taken_at is None


@pytest.mark.parametrize(("tag", "name"), [(0x829D, "f_number"), (0x920A, "focal_length_mm")])
@pytest.mark.parametrize("value", [0.0, 1e6])
def test_an_aperture_or_focal_length_without_meaning_is_left_open(tag, name, value, make, put):
    assert getattr(kept(put, make, inner={tag: value}), name) is None


def test_a_manual_lens_leaves_no_aperture(make, put):
    exif = make.exif()
    del exif.get_ifd(0x8769)[0x829D]
    assert read_local(put(make.jpeg(make.target(60, 40), exif=exif)))[1].f_number is None


def test_a_division_by_nothing_is_left_open(make, put):
    data = make.jpeg(make.target(60, 40), exif=make.exif())
    pair = (35).to_bytes(4, "big") + (1).to_bytes(4, "big")
    swapped = pair if pair in data else (35).to_bytes(4, "little") + (1).to_bytes(4, "little")
    assert read_local(put(data.replace(swapped, swapped[:4] + bytes(4))))[1].focal_length_mm is None


def test_texts_are_cut_and_cleaned(make, put):
    facts = kept(put, make, first={0x0110: "Tern\x07 2\r\n"}, inner={0xA434: "Q" * 500})
    assert facts.body_model == "Tern 2"
    assert len(facts.lens_model) == 80


def test_png_exif_is_read_too(make, put):
    buffer = io.BytesIO()
    Image.fromarray(make.codes(make.target(60, 40))).save(buffer, "PNG", exif=make.exif())
    assert read_local(put(buffer.getvalue()))[1].f_number == pytest.approx(5.6)


def test_tiff_exif_is_read_too(put):
    rendered = render_frame(Scene(focal_length_mm=35), f_number=5.6, size=(60, 40), seed=1)
    facts = read_local(put(write_tiff16(rendered, exif=CameraExif())))[1]
    assert facts.f_number == pytest.approx(5.6)
    assert facts.focal_length_mm == pytest.approx(35)
    assert facts.body_model == CameraExif().model


def test_raw_exif_is_read_too(make, put):
    facts = read_local(put(make.dng(make.target(60, 40))))[1]
    assert (facts.f_number, facts.focal_length_mm, facts.iso) == (8, 35, 200)
    assert facts.lens_model == "Quillmark 35 mm f/2"
    assert facts.taken_at == datetime(2031, 6, 2, 21, 40, 5)


def test_a_file_without_exif_has_empty_facts(make, put):
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, make.codes(make.target(60, 40), 16), photometric="rgb", software="")
    assert read_local(put(buffer.getvalue()))[1] == KeptExif()


def test_facts_survive_being_stored_as_json(make, put):
    for extra in ({}, {"inner": {0x9011: "+05:30"}}):
        facts = kept(put, make, **extra)
        assert KeptExif.from_dict(facts.to_dict()) == facts
    assert KeptExif.from_dict(KeptExif().to_dict()) == KeptExif()
