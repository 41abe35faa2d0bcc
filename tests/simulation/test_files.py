"""Written files, read back by readers that this project didn't write: exifread, Pillow, tifffile, LibRaw."""

import io
from datetime import datetime
from fractions import Fraction

import exifread
import numpy as np
import pytest
import rawpy
import tifffile
from PIL import Image, ImageOps

from registry.errors import InvalidInput
from registry.simulation.exif import CameraExif, PrivateExif
from registry.simulation.files import write_dng, write_jpeg, write_png, write_tiff16
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene
from registry.simulation.tones import quantise, srgb_decode

WRITERS = [write_jpeg, write_png, write_tiff16, write_dng]
SCENE = Scene(
    focal_length_mm=23,
    half_diagonal_mm=14.2,
    patch=Patch(strength_ev=0.3, radius=0.2),
    level=0.3,
    tilt_ev=0.4,
)
FRAME = render_frame(SCENE, f_number=5.6, size=(300, 200), seed=1)
EXIF = CameraExif(
    maker="Vantorre",
    model="VANTORRE DEMO",
    lens="Vantorre 23 mm f/2.8",
    exposure_seconds=Fraction(1, 125),
    iso=400,
    taken_at=datetime(2026, 5, 9, 21, 4, 5),
)
PRIVATE = PrivateExif(
    latitude=-51.75,
    longitude=3.5125,
    body_serial="BODY-0815",
    lens_serial="LENS-4711",
    owner="Ada",
    comment="ours",
)


def _tags(content):
    return {name: str(value) for name, value in exifread.process_file(io.BytesIO(content)).items()}


@pytest.mark.parametrize("write", WRITERS)
def test_an_independent_reader_finds_what_a_camera_writes(write):
    tags = _tags(write(FRAME, exif=EXIF))
    assert tags["Image Make"] == "Vantorre"
    assert tags["Image Model"] == "VANTORRE DEMO"
    assert tags["EXIF LensModel"] == "Vantorre 23 mm f/2.8"
    assert float(Fraction(tags["EXIF FNumber"])) == 5.6
    assert tags["EXIF FocalLength"] == "23"
    assert tags["EXIF FocalLengthIn35mmFilm"] == "35"
    assert tags["EXIF ExposureTime"] == "1/125"
    assert tags["EXIF ISOSpeedRatings"] == "400"
    assert tags["EXIF DateTimeOriginal"] == "2026:05:09 21:04:05"


@pytest.mark.parametrize("write", WRITERS)
def test_place_and_serial_numbers_are_written_only_on_request(write):
    silent, open_ = write(FRAME, exif=EXIF), write(FRAME, exif=CameraExif(private=PRIVATE))
    assert not [name for name in _tags(silent) if "GPS" in name or "Serial" in name or "Owner" in name]
    tags = _tags(open_)
    assert tags["EXIF BodySerialNumber"] == "BODY-0815"
    assert tags["EXIF LensSerialNumber"] == "LENS-4711"
    assert tags["GPS GPSLatitude"] == "[51, 45, 0]" and tags["GPS GPSLatitudeRef"] == "S"
    assert tags["GPS GPSLongitude"] == "[3, 30, 45]" and tags["GPS GPSLongitudeRef"] == "E"
    for text in (b"BODY-0815", b"LENS-4711", b"Ada", b"ours"):
        assert text in open_ and text not in silent


@pytest.mark.parametrize("write", WRITERS)
def test_a_camera_s_private_notes_are_written_only_on_request(write):
    assert "EXIF MakerNote" not in _tags(write(FRAME, exif=EXIF))
    content = write(FRAME, exif=CameraExif(maker_note=b"shutter count 4711"))
    assert b"shutter count 4711" in content
    assert "EXIF MakerNote" in _tags(content)


@pytest.mark.parametrize("write", WRITERS)
def test_a_lens_without_contacts_gives_zero_or_nothing(write):
    zero = _tags(write(FRAME, exif=CameraExif(f_number=0, focal_length_mm=0)))
    assert zero["EXIF FNumber"] == "0" and zero["EXIF FocalLength"] == "0"
    none = _tags(write(FRAME, exif=CameraExif(with_f_number=False, with_focal_length=False, lens=None)))
    assert not {"EXIF FNumber", "EXIF FocalLength", "EXIF LensModel"} & none.keys()


@pytest.mark.parametrize("write", [write_jpeg, write_png, write_tiff16])
def test_files_without_exif_have_none(write):
    assert not [name for name in _tags(write(FRAME)) if name.startswith("EXIF") or "Make" in name]


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_readers_who_obey_the_orientation_see_the_frame_upright(orientation):
    exif = CameraExif(orientation=orientation)
    upright = quantise(FRAME.pixels, "srgb")
    seen = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(write_png(FRAME, exif=exif)))))
    assert np.array_equal(seen, upright)
    with rawpy.imread(io.BytesIO(write_dng(FRAME, exif=exif))) as raw:
        developed = _linear_raw(raw)
    assert developed.shape[:2] == (100, 150)
    green = FRAME.pixels.reshape(100, 2, 150, 2, 3).mean(axis=(1, 3))[..., 1]
    assert np.corrcoef(developed[..., 1].ravel(), green.ravel())[0, 1] > 0.9


@pytest.mark.parametrize("write", WRITERS)
def test_an_orientation_that_no_camera_writes_is_refused(write):
    with pytest.raises(InvalidInput, match="orientation"):
        write(FRAME, exif=CameraExif(orientation=2))


def test_a_png_holds_the_quantised_frame_exactly():
    assert np.array_equal(
        np.asarray(Image.open(io.BytesIO(write_png(FRAME)))), quantise(FRAME.pixels, "srgb")
    )


def test_a_jpeg_keeps_the_light_but_for_its_compression():
    for progressive in (False, True):
        picture = Image.open(io.BytesIO(write_jpeg(FRAME, progressive=progressive, quality=95)))
        assert picture.mode == "RGB" and bool(picture.info.get("progressive")) == progressive
        light = srgb_decode(np.asarray(picture) / 255)
        assert np.log2(light.mean(axis=(0, 1)) / FRAME.pixels.mean(axis=(0, 1))) == pytest.approx(0, abs=5e-3)


@pytest.mark.parametrize("compression", [None, "lzw", "zlib"])
def test_a_tiff_holds_sixteen_bits(compression):
    content = write_tiff16(FRAME, compression=compression, exif=EXIF)
    with tifffile.TiffFile(io.BytesIO(content)) as file:
        codes = file.pages[0].asarray()
        assert file.pages[0].photometric == tifffile.PHOTOMETRIC.RGB
    assert codes.dtype == np.uint16
    assert srgb_decode(codes / 65535) == pytest.approx(FRAME.pixels, abs=3e-5)


def test_a_linear_tiff_holds_light_itself():
    codes = tifffile.imread(io.BytesIO(write_tiff16(FRAME, tone=None)))
    assert codes / 65535 == pytest.approx(FRAME.pixels, abs=1e-5)


def _linear_raw(raw):
    """LibRaw's own development to linear light in the camera's channels, half size: one pixel a Bayer square."""
    developed = raw.postprocess(
        half_size=True,
        gamma=(1, 1),
        no_auto_bright=True,
        output_bps=16,
        output_color=rawpy.ColorSpace.raw,
        user_wb=[1, 1, 1, 1],
    )
    return developed / 65535


def test_libraw_reads_a_raw_frame_s_levels_and_mosaic():
    with rawpy.imread(io.BytesIO(write_dng(FRAME))) as raw:
        assert raw.sizes.width == 300 and raw.sizes.height == 200
        assert raw.black_level_per_channel == [512] * 4
        assert raw.white_level == 16383
        assert raw.raw_pattern.tolist() == [[0, 1], [3, 2]]
        assert raw.color_desc == b"RGBG"


@pytest.mark.parametrize("strength", [0.0, 0.1, 0.3])
def test_libraw_finds_the_true_excess_in_a_raw_frame(strength):
    size, patch = (1200, 800), Patch(strength_ev=strength, radius=0.25, shape="disc")
    hot, clean = (
        render_frame(
            Scene(patch=each, focal_length_mm=35, cast_rg=0.4, full_well_electrons=60_000),
            f_number=8.0,
            size=size,
            seed=3,
        )
        for each in (patch, None)
    )
    centres = []
    for frame in (hot, clean):
        with rawpy.imread(io.BytesIO(write_dng(frame))) as raw:
            centres.append(_linear_raw(raw)[185:215, 285:315, 1].mean())
    assert np.log2(centres[0] / centres[1]) == pytest.approx(hot.truth.excess_ev, abs=2e-3)


@pytest.mark.parametrize("write", WRITERS)
def test_files_go_to_a_path_or_an_open_file_and_come_back_as_bytes(write, tmp_path):
    content, buffer = write(FRAME, tmp_path / "frame", exif=EXIF), io.BytesIO()
    write(FRAME, buffer, exif=EXIF)
    assert content == (tmp_path / "frame").read_bytes() == buffer.getvalue()


def test_raw_frames_of_odd_size_lose_what_makes_no_bayer_square():
    odd = render_frame(Scene(), f_number=8.0, size=(301, 201), seed=1)
    with rawpy.imread(io.BytesIO(write_dng(odd))) as raw:
        assert (raw.sizes.width, raw.sizes.height) == (300, 200)
