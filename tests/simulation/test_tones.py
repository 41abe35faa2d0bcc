"""Tone curves, against the standard's own values and an independent colour engine."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from registry.errors import InvalidInput
from registry.simulation.profile import linear_profile, power_profile
from registry.simulation.tones import camera_encode, encode, quantise, srgb_decode, srgb_encode


# IEC 61966-2-1, values computed from the standard's formulas.
@pytest.mark.parametrize(
    ("code", "linear"),
    [(10, 0.0030352698), (11, 0.0033465358), (128, 0.2158605001), (188, 0.5028864580), (254, 0.9911020971)],
)
def test_srgb_codes_stand_for_the_light_of_iec_61966_2_1(code, linear):
    assert srgb_decode(code / 255) == pytest.approx(linear, abs=1e-9)
    assert srgb_encode(linear) * 255 == pytest.approx(code, abs=1e-5)


def test_the_two_branches_of_srgb_join():
    assert srgb_encode(0.18) == pytest.approx(0.4613561, abs=1e-6)
    assert srgb_encode(0.0031308) == pytest.approx(0.0404499, abs=1e-6)


def test_every_eight_bit_code_survives_the_way_to_light_and_back():
    codes = np.arange(256)
    assert np.array_equal(quantise(srgb_decode(codes / 255), "srgb"), codes)


def test_sixteen_bit_codes_are_finer_than_eight_bit_ones():
    light = np.linspace(0.2, 0.21, 64)
    assert len(np.unique(quantise(light, "srgb", 65536))) == 64
    assert len(np.unique(quantise(light, "srgb"))) < 8


def test_a_camera_curve_exaggerates_the_middle_and_softens_the_highlights():
    light = np.array([0.002, 0.22, 0.85])
    step = 0.01

    def slope(curve):
        return (srgb_decode(curve(light * (1 + step))) / srgb_decode(curve(light)) - 1) / step

    low, middle, high = slope(camera_encode)
    assert middle > 1.2
    assert low < 1.1
    assert high < 0.95
    assert slope(srgb_encode) == pytest.approx(1, abs=1e-6)


def test_a_camera_curve_is_monotone_and_keeps_black_and_white():
    values = camera_encode(np.linspace(0, 1, 1001))
    assert np.all(np.diff(values) > 0)
    assert values[[0, -1]] == pytest.approx([0, 1])


def test_an_unknown_tone_curve_is_refused_by_name():
    with pytest.raises(InvalidInput, match="film"):
        encode(np.zeros(3), "film")


@pytest.mark.parametrize(("profile", "exponent"), [(linear_profile(), 1.0), (power_profile(1.8), 1.8)])
def test_a_colour_engine_reads_our_profiles_as_the_powers_they_state(profile, exponent):
    # littleCMS (through Pillow) is the independent reader: profile → its own sRGB must agree with IEC 61966-2-1.
    codes = np.arange(20, 256, 5, dtype=np.uint8)
    picture = Image.fromarray(np.repeat(codes[None, :, None], 3, axis=2))
    stated = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    converted = ImageCms.profileToProfile(picture, stated, ImageCms.createProfile("sRGB"))
    expected = 255 * srgb_encode((codes / 255) ** exponent)
    assert np.abs(np.asarray(converted)[0].astype(float) - expected[:, None]).max() <= 1.0
