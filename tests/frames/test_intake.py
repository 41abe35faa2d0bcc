"""One untrusted file in; light, kept facts and safe derivatives out."""

from __future__ import annotations

import hashlib
import io
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
import tifffile
from PIL import Image

from registry.errors import CleanstopError
from registry.frames import confinement
from registry.frames.decode import decode, read_kept
from registry.frames.intake import take_in
from registry.frames.limits import DEFAULT_LIMITS
from registry.frames.local import read_local, read_local_picture


def tiff16(make, light, **options) -> bytes:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, make.codes(light, 16), photometric="rgb", **options)
    return buffer.getvalue()


def png8(make, light) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(make.codes(light)).save(buffer, "PNG")
    return buffer.getvalue()


FORMATS = {
    "jpeg": lambda make, light: make.jpeg(light, exif=make.exif()),
    "progressive": lambda make, light: make.jpeg(light, progressive=True),
    "png": png8,
    "tiff": tiff16,
    "raw": lambda make, light: make.dng(light),
}


def same_light(first, second) -> bool:
    plain = [vars(image) | {"pixels": None} for image in (first, second)]
    return plain[0] == plain[1] and np.array_equal(first.pixels, second.pixels)


@pytest.mark.parametrize("form", FORMATS)
def test_a_frame_measures_the_same_now_and_later_to_the_last_bit(form, make, put, room):
    path = put(FORMATS[form](make, make.target(640, 426, excess_ev=0.2)))
    taken = take_in(path, working_directory=room)
    assert same_light(taken.image, read_kept(taken.kept_path))
    assert same_light(taken.image, decode(path))
    assert same_light(taken.image, read_local(path)[0])


@pytest.mark.parametrize("form", FORMATS)
def test_taking_a_frame_in_twice_gives_the_same_bytes(form, make, put, room):
    path = put(FORMATS[form](make, make.target()))
    first, second = (take_in(path, working_directory=room) for _ in range(2))
    for name in ("kept_path", "picture_path", "thumbnail_path"):
        assert getattr(first, name).read_bytes() == getattr(second, name).read_bytes()
    assert first.folder != second.folder


def test_the_hash_is_that_of_the_bytes_as_sent(make, put, room):
    data = make.jpeg(make.target())
    assert take_in(put(data), working_directory=room).sha256 == hashlib.sha256(data).hexdigest()


def test_picture_and_thumbnail_have_their_sizes(make, put, room):
    taken = take_in(put(make.jpeg(make.target(2600, 1700))), working_directory=room)
    with Image.open(taken.picture_path) as picture, Image.open(taken.thumbnail_path) as thumbnail:
        assert 1200 <= max(picture.size) <= 1600
        assert picture.size == (taken.picture_width, taken.picture_height)
        assert max(thumbnail.size) == 320
        assert picture.mode == thumbnail.mode == "RGB"
    assert (taken.width, taken.height) == (2600, 1700)
    assert max(taken.image.pixels.shape) == 96


@pytest.mark.parametrize("form", FORMATS)
def test_a_local_file_gives_a_picture_to_draw_on(form, make, put):
    light = make.target(2000, 1200) if form != "raw" else make.target(320, 240)
    picture = read_local_picture(put(FORMATS[form](make, light)))
    assert picture.dtype == np.uint8
    assert max(picture.shape) <= 1600
    height, width = picture.shape[:2]
    assert picture[height // 2, width // 2] == pytest.approx(make.codes(light).max(), abs=3)


def test_a_small_frame_is_not_enlarged(make, put, room):
    taken = take_in(put(png8(make, make.target(300, 200))), working_directory=room)
    assert (taken.picture_width, taken.picture_height) == (300, 200)


def test_a_kept_jpeg_holds_the_scan_data_untouched(make, put, room):
    data = make.jpeg(make.target(), exif=make.exif(), comment=b"a note")
    kept = take_in(put(data), working_directory=room).kept_path.read_bytes()
    with Image.open(io.BytesIO(data)) as original, Image.open(io.BytesIO(kept)) as again:
        assert np.array_equal(np.asarray(original), np.asarray(again))
    assert len(kept) < len(data)


def test_other_formats_are_kept_as_16_bit_linear_light(make, put, room):
    light = make.target(3100, 2000)
    taken = take_in(put(tiff16(make, light)), working_directory=room)
    kept = tifffile.imread(taken.kept_path)
    assert kept.dtype == np.uint16
    assert max(kept.shape) <= 1500
    middle = kept[kept.shape[0] // 2, kept.shape[1] // 2, 0] / 65535
    assert middle == pytest.approx(light[1000, 1550, 0], abs=2e-4)


def test_only_a_kept_file_can_be_read_for_measuring_again(make, put):
    path = put(tiff16(make, make.target(100, 80)), "frame.tif")
    with pytest.raises(CleanstopError) as caught:
        read_kept(path)
    assert caught.value.first.code == "not-a-kept-frame"


def test_discarding_leaves_nothing(make, put, room):
    taken = take_in(put(make.jpeg(make.target())), working_directory=room)
    assert sorted(path.name for path in taken.folder.iterdir()) == [
        "kept.jpg",
        "picture.jpg",
        "thumbnail.jpg",
    ]
    taken.discard()
    assert not list(room.iterdir())


def test_frames_wait_for_each_other_when_only_one_may_be_read(make, put, room):
    path = put(make.jpeg(make.target()))
    limits = replace(DEFAULT_LIMITS, concurrency=1)
    with ThreadPoolExecutor(4) as threads:
        takes = [threads.submit(take_in, path, limits=limits, working_directory=room) for _ in range(8)]
    assert len({take.result().folder for take in takes}) == 8


def test_a_frame_without_its_turn_is_turned_away_clearly(make, put, room, tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    limits = replace(DEFAULT_LIMITS, concurrency=1, queue_seconds=0)
    path = put(make.jpeg(make.target()))
    with confinement._turn(limits), pytest.raises(CleanstopError) as caught:
        take_in(path, limits=limits, working_directory=room)
    assert caught.value.first.code == "decoder-busy"
    assert not list(room.iterdir())
    assert take_in(path, limits=limits, working_directory=room)


def test_a_folder_that_cannot_be_written_is_not_the_frames_fault(make, put, tmp_path):
    with pytest.raises(CleanstopError) as caught:
        take_in(put(make.jpeg(make.target())), working_directory=tmp_path / "missing")
    assert caught.value.first.code == "no-room-left"


def test_a_dead_chamber_is_replaced(make, put, room):
    path = put(make.jpeg(make.target()))
    take_in(path, working_directory=room)
    confinement._chamber._process.kill()
    confinement._chamber._process.wait()
    assert take_in(path, working_directory=room)


def test_the_chamber_knows_none_of_the_sites_secrets(make, put, room, monkeypatch):
    monkeypatch.setenv("SECRET_KEY", "hush")
    confinement.close_chamber()
    take_in(put(make.jpeg(make.target())), working_directory=room)
    with open(f"/proc/{confinement._chamber._process.pid}/environ", "rb") as environment:
        assert b"hush" not in environment.read()
