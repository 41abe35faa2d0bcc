"""Codes become light as the standards say, whatever the format."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from registry.frames.averaging import area_average, block_mean
from registry.frames.decode import decode
from registry.frames.encoding import linear_to_srgb, srgb_to_linear
from registry.frames.tone import CAMERA_CURVE, camera_slope_bounds
from registry.simulation.tones import camera_encode

# IEC 61966-2-1:1999, worked from its formula: 8-bit code and linear light.
SRGB_VALUES = {
    10: 0.0030352698,
    11: 0.0033465358,
    128: 0.2158605001,
    188: 0.5028864580,
    254: 0.9911020971,
}


def flat(code: int, bits: int = 8, size: tuple[int, int] = (48, 64)) -> np.ndarray:
    return np.full((*size, 3), code, dtype=np.uint8 if bits == 8 else np.uint16)


def saved(codes: np.ndarray, form: str, **options) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(codes).save(buffer, form, **options)
    return buffer.getvalue()


def tiff(codes: np.ndarray, **options) -> bytes:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, codes, **{"photometric": "rgb", **options})
    return buffer.getvalue()


def s15(*numbers: float) -> bytes:
    return struct.pack(f">{len(numbers)}i", *(round(number * 65536) for number in numbers))


def icc(curve: bytes, colorants: np.ndarray, space: bytes = b"RGB ") -> bytes:
    """A matrix profile of one curve and three colorants (ICC.1:2022, 7 and 8.4)."""
    tags = dict.fromkeys((b"rTRC", b"gTRC", b"bTRC", b"kTRC"), curve)
    for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants.T, strict=True):
        tags[name] = b"XYZ \0\0\0\0" + s15(*column)
    place, table, data = 132 + 12 * len(tags), struct.pack(">I", len(tags)), b""
    for name, value in tags.items():
        table += struct.pack(">4sII", name, place + len(data), len(value))
        data += value.ljust(-(-len(value) // 4) * 4, b"\0")
    size = 128 + len(table) + len(data)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x04300000, b"mntr", space, b"XYZ ")
    header = header.ljust(36, b"\0") + b"acsp"
    header = header.ljust(68, b"\0") + s15(0.9642, 1, 0.8249)
    return header.ljust(128, b"\0") + table + data


def gamma_curve(exponent: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(exponent * 256))


# sRGB's colorants adapted to D50, as its widely distributed ICC profile has them (from memory).
SRGB_COLORANTS = np.array([[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]])
# A wide working space: ROMM RGB of ISO 22028-2, whose white is D50.
WIDE_COLORANTS = np.array([[0.7977, 0.1352, 0.0313], [0.2880, 0.7119, 0.0001], [0.0, 0.0, 0.8249]])


@pytest.mark.parametrize(("code", "light"), SRGB_VALUES.items())
def test_the_srgb_curve_has_the_standards_values(code, light):
    assert srgb_to_linear(np.array(code / 255)) == pytest.approx(light, abs=5e-11)


def test_the_srgb_curve_runs_back_to_the_standards_values():
    assert linear_to_srgb(np.array(0.18)) == pytest.approx(0.4613561, abs=5e-8)
    assert linear_to_srgb(np.array(0.0031308)) == pytest.approx(0.0404499, abs=5e-8)


@pytest.mark.parametrize(("code", "light"), SRGB_VALUES.items())
def test_files_give_the_standards_light(code, light, put):
    forms = {
        "a.jpg": saved(flat(code), "JPEG", quality=100, subsampling=0),
        "a.png": saved(flat(code), "PNG"),
        "a.tif": tiff(flat(code)),
        "b.tif": tiff(flat(code * 257, 16), compression="lzw"),
    }
    for name, data in forms.items():
        image = decode(put(data, name))
        assert image.pixels == pytest.approx(light, abs=8e-6)
        assert image.median_level == pytest.approx(code, abs=0.02)


def test_light_is_averaged_and_not_codes(put):
    stripes = np.zeros((960, 960, 3), dtype=np.uint8)
    stripes[:, ::2] = 255
    assert decode(put(saved(stripes, "PNG"))).pixels == pytest.approx(0.5, abs=1e-5)


def test_16_bits_hold_more_than_8(put, make):
    fine = make.target(900, 600, level=0.02)
    steps = {}
    for bits in (8, 16):
        image = decode(put(tiff(make.codes(fine, bits)), f"{bits}.tif"))
        cell = area_average(fine)
        steps[bits] = np.abs(image.pixels / cell - 1).max()
    assert steps[16] < 2e-3 < steps[8]


def test_16_bit_png_keeps_its_depth(put):
    code = 30_001
    rows = b"".join(b"\0" + np.full((64, 3), code, ">u2").tobytes() for _ in range(48))
    image = decode(put(png16(64, 48, rows)))
    assert image.pixels == pytest.approx(float(srgb_to_linear(np.array(code / 65535))), abs=9e-6)


def png16(width: int, height: int, rows: bytes, *chunks: bytes) -> bytes:
    import zlib

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0))
    extra = b"".join(chunk(part[:4], part[4:]) for part in chunks)
    body = chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + header + extra + body


def test_a_png_that_states_gamma_1_is_linear(put):
    rows = b"".join(b"\0" + np.full((64, 3), 13_107, ">u2").tobytes() for _ in range(48))
    image = decode(put(png16(64, 48, rows, b"gAMA" + struct.pack(">I", 100_000))))
    assert image.linear
    assert image.pixels == pytest.approx(0.2, abs=1e-5)


def test_a_linear_profile_makes_a_tiff_linear(put):
    profile = icc(gamma_curve(1.0), SRGB_COLORANTS)
    image = decode(put(tiff(flat(13_107, 16), iccprofile=profile)))
    assert image.linear
    assert image.pixels == pytest.approx(0.2, abs=1e-5)


def test_a_16_bit_tiff_without_a_profile_is_read_as_srgb_and_says_so(put):
    image = decode(put(tiff(flat(13_107, 16))))
    assert not image.linear
    assert "no-profile-srgb-assumed" in image.notes
    assert image.pixels == pytest.approx(float(srgb_to_linear(np.array(0.2))), abs=1e-5)


LAYOUTS = {
    "strips": {"rowsperstrip": 16},
    "tiles": {"tile": (64, 64)},
    "big-endian": {"byteorder": ">"},
    "lzw": {"compression": "lzw", "predictor": True},
    "deflate": {"compression": "zlib", "predictor": True},
    "packbits": {"compression": "packbits"},
}


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_usual_layout_of_a_tiff_holds_the_same_light(layout, bits, put, make):
    light = make.target(320, 240)
    image = decode(put(tiff(make.codes(light, bits), **LAYOUTS[layout])))
    assert image.pixels == pytest.approx(area_average(light), rel=2e-3 if bits == 16 else 1e-2)


def test_a_tiff_of_separate_planes_holds_the_same_light(put, make):
    light = make.target(320, 240) * np.array([0.5, 1.0, 0.8])
    planes = np.moveaxis(make.codes(light, 16), -1, 0)
    image = decode(put(tiff(planes, planarconfig="separate")))
    assert image.pixels == pytest.approx(area_average(light), rel=2e-3)


def test_grey_and_transparent_tiffs_are_taken(put, make):
    codes = make.codes(make.target(320, 240), 16)
    plain = decode(put(tiff(codes))).pixels
    grey = tiff(codes[..., 0], photometric="minisblack")
    clear = tiff(np.dstack([codes, codes[..., :1] // 2]), extrasamples=["unassalpha"])
    for data in (grey, clear):
        assert np.array_equal(decode(put(data)).pixels, plain)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF"])
def test_another_working_space_is_brought_to_rec_709(form, put):
    """Against the colour management library's own conversion of the same pixels, at 8 bits."""
    profile = icc(gamma_curve(1.8), WIDE_COLORANTS)
    codes = np.empty((64, 64, 3), dtype=np.uint8)
    codes[...] = (120, 140, 130)
    options = {"quality": 100, "subsampling": 0} if form == "JPEG" else {}
    image = decode(put(saved(codes, form, icc_profile=profile, **options)))
    expected = ImageCms.profileToProfile(
        Image.fromarray(codes),
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    ).getpixel((9, 9))
    mean = 255 * linear_to_srgb(image.pixels.reshape(-1, 3).mean(axis=0))
    assert mean == pytest.approx(expected, abs=1.5 if form == "JPEG" else 0.8)


def test_the_usual_srgb_profile_changes_nothing(put, make):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    codes = make.codes(make.target())
    with_profile = decode(put(saved(codes, "PNG", icc_profile=profile)))
    assert np.array_equal(with_profile.pixels, decode(put(saved(codes, "PNG"), "b.png")).pixels)


@pytest.mark.parametrize("kind", range(5))
def test_parametric_curves_are_read_as_the_standard_has_them(kind, put):
    """ICC.1:2022, table 68, each type at a code above and one below its joint."""
    g, a, b, c, d, e, f = 2.4, 0.9, 0.05, 0.3, 0.2, 0.02, 0.01
    given = ((g,), (g, a, b), (g, a, b, c), (g, a, b, c, d), (g, a, b, c, d, e, f))[kind]
    curve = b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + s15(*given)
    above, below = {
        0: (lambda x: x**g, lambda x: x**g),
        1: (lambda x: (a * x + b) ** g, lambda x: (a * x + b) ** g),
        2: (lambda x: (a * x + b) ** g + c, lambda x: (a * x + b) ** g + c),
        3: (lambda x: (a * x + b) ** g, lambda x: c * x),
        4: (lambda x: (a * x + b) ** g + e, lambda x: c * x + f),
    }[kind]
    profile = icc(curve, SRGB_COLORANTS)
    for code, expected in ((40_000, above), (6_000, below)):
        image = decode(put(tiff(flat(code, 16), iccprofile=profile)))
        assert image.pixels.mean() == pytest.approx(expected(code / 65535), abs=3e-4)


def test_grey_pictures_are_taken(put):
    grey = np.full((48, 64), 128, dtype=np.uint8)
    for name, data in {"a.jpg": saved(grey, "JPEG", quality=100), "a.png": saved(grey, "PNG")}.items():
        assert decode(put(data, name)).pixels == pytest.approx(SRGB_VALUES[128], abs=8e-6)


def test_transparency_is_left_out(put):
    rgba = np.dstack([flat(128), np.full((48, 64), 77, dtype=np.uint8)])
    assert decode(put(saved(rgba, "PNG"))).pixels == pytest.approx(SRGB_VALUES[128], abs=8e-6)


@pytest.mark.parametrize("mosaic", [True, False])
def test_raw_numbers_are_proportional_to_light(mosaic, put, make):
    light = make.target(400, 300, excess_ev=0.3) * np.array([0.8, 1.0, 0.5])
    image = decode(put(make.dng(light, mosaic=mosaic)))
    assert image.linear
    assert image.kind == "raw"
    assert image.tone_gain == (1.0, 1.0)
    ratio = image.pixels[36] / area_average(light)[36]
    assert ratio == pytest.approx(1, abs=2e-3)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "PNG", "TIFF"])
def test_frames_are_turned_upright(form, orientation, put, make):
    light = np.zeros((48, 72, 3), dtype=np.float32)
    light[:24, :36], light[:24, 36:], light[24:, :36], light[24:, 36:] = 0.1, 0.2, 0.3, 0.4
    codes = make.codes(light)
    options = {"quality": 100, "subsampling": 0} if form == "JPEG" else {}
    exif = make.exif(first={0x0112: orientation})
    image = decode(put(saved(codes, form, exif=exif, **options)))
    # The values of table 6 in Exif 2.32: what stands at the top left and top right of the upright picture.
    expected = {
        1: (0.1, 0.2),
        2: (0.2, 0.1),
        3: (0.4, 0.3),
        4: (0.3, 0.4),
        5: (0.1, 0.3),
        6: (0.3, 0.1),
        7: (0.4, 0.2),
        8: (0.2, 0.4),
    }[orientation]
    assert (image.pixels[5, 5, 0], image.pixels[5, -5, 0]) == pytest.approx(expected, abs=0.01)
    assert (image.width, image.height) == ((72, 48) if orientation < 5 else (48, 72))
    assert image.pixels.shape[:2] == (image.height, image.width)


def test_a_raw_file_is_turned_upright(put, make):
    light = make.target(300, 200)
    light[:100] *= 0.5
    image = decode(put(make.dng(light, flip=6)))
    assert (image.width, image.height) == (200, 300)
    assert image.pixels[48, 50, 1] < 0.7 * image.pixels[48, 10, 1]


def test_clipped_and_black_shares_are_counted(put):
    codes = flat(128, size=(60, 80))
    codes[:6, :, 0] = 254
    codes[-3:] = 1
    for name, data in {"a.png": saved(codes, "PNG"), "a.tif": tiff(codes.astype(np.uint16) * 257)}.items():
        image = decode(put(data, name))
        assert image.clipped == pytest.approx(0.1)
        assert image.black == pytest.approx(0.05)


def test_a_clipped_raw_file_is_seen_as_clipped(put, make):
    light = make.target(80, 60)
    light[:20, :, 1] = 2.0
    assert decode(put(make.dng(light))).clipped == pytest.approx(1 / 3)


def test_fine_structure_is_told_from_noise(put, make):
    rng = np.random.default_rng(2)
    light = make.target(1152, 768)
    noisy = light * (1 + 0.05 * rng.standard_normal((768, 1152, 1)))
    texture = np.kron(rng.standard_normal((96, 144)), np.ones((8, 8)))[..., None]
    rough = light * (1 + 0.05 * texture)
    details = [decode(put(saved(make.codes(frame), "PNG"))).detail for frame in (light, noisy, rough)]
    assert details[0] < 0.004
    assert details[1] < 0.005
    assert details[2] > 0.02


def test_a_camera_that_signs_its_file_has_an_unknown_tone_curve(put, make):
    by_camera = make.jpeg(make.target(), exif=make.exif(inner={0x927C: b"notes of the maker"}))
    image = decode(put(by_camera))
    low, high = image.tone_gain
    assert CAMERA_CURVE in image.notes
    assert low < 1 < high
    plain = decode(put(make.jpeg(make.target(), exif=make.exif())))
    assert plain.tone_gain == (1.0, 1.0)
    assert "tone-curve-read-as-srgb" in plain.notes


def test_camera_slopes_hold_the_measured_curve_and_fall_towards_white():
    """A camera's curve was seen to make .10 EV read .15 and .20 read .27 (this project's methods, part A5)."""
    low, high = camera_slope_bounds(0.2)
    assert low < 0.27 / 0.20 < 0.15 / 0.10 < high
    tops = [camera_slope_bounds(level)[1] for level in (0.02, 0.1, 0.3, 0.6, 0.9)]
    assert tops == sorted(tops, reverse=True)


@pytest.mark.parametrize("light", [0.03, 0.1, 0.2, 0.4, 0.6])
def test_the_simulations_camera_curve_lies_within_the_bounds(light):
    """A curve that another room draws by a formula of its own."""
    near = np.array([light / 1.001, light * 1.001])
    values = srgb_to_linear(camera_encode(near))
    slope = np.diff(np.log(values))[0] / np.diff(np.log(near))[0]
    low, high = camera_slope_bounds(float(values.mean()))
    assert low < slope < high
    assert (low + high) / 2 == pytest.approx(slope, rel=0.25)


def test_an_area_average_keeps_the_sum_of_light():
    values = np.random.default_rng(4).uniform(size=(131, 197, 3)).astype(np.float32)
    averaged = area_average(values)
    assert averaged.shape == (64, 96, 3)
    assert averaged.mean(axis=(0, 1)) == pytest.approx(values.mean(axis=(0, 1)), rel=1e-5)


def test_an_area_average_shares_cut_pixels():
    """Three pixels in two cells: each takes one and a half."""
    row = np.array([[[3.0], [6.0], [9.0]]], dtype=np.float32)
    assert area_average(row, 2)[0, :, 0] == pytest.approx([(3 + 3) / 1.5, (3 + 9) / 1.5])


def test_a_block_mean_cuts_what_does_not_fill_a_block_evenly():
    row = np.arange(7, dtype=np.float32)[None, :, None].repeat(3, axis=0)
    assert block_mean(row, 3)[0, :, 0] == pytest.approx([1, 4])
