"""Whole frames and sweeps at array level."""

from dataclasses import replace

import numpy as np
import pytest

from registry.errors import InvalidInput
from registry.simulation.falloff import falloff
from registry.simulation.reduced import area_average
from registry.simulation.render import render_frame, render_sweep
from registry.simulation.scene import Patch, Scene

NOISELESS = Scene(full_well_electrons=0, read_noise_electrons=0)
RICH = Scene(
    patch=Patch(tint_rg=0.1),
    unevenness_ev=0.01,
    texture_ev=0.01,
    dust_specks=3,
    tilt_ev=0.1,
    vignetting_ev=1.0,
)


def test_a_seed_fixes_every_pixel():
    first, again, other = (
        render_frame(RICH, f_number=8.0, size=(96, 64), seed=seed).pixels for seed in (3, 3, 4)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_a_frame_is_float32_linear_light_between_black_and_white():
    pixels = render_frame(replace(RICH, level=0.9), f_number=8.0, size=(120, 80), seed=1).pixels
    assert pixels.dtype == np.float32
    assert pixels.shape == (80, 120, 3)
    assert 0 <= pixels.min() <= pixels.max() <= 1


def test_the_level_is_the_luminance_in_the_centre_and_the_cast_leaves_it_alone():
    scene = replace(NOISELESS, level=0.3, cast_rg=0.6, cast_bg=-0.4)
    centre = render_frame(scene, f_number=8.0, size=(97, 65), seed=1).pixels[32, 48].astype(float)
    assert centre @ [0.2126, 0.7152, 0.0722] == pytest.approx(0.3, rel=1e-4)
    assert np.log2(centre[[0, 2]] / centre[1]) == pytest.approx([0.6, -0.4], abs=1e-4)


def test_colour_shading_reaches_its_value_in_the_corner():
    pixels = render_frame(replace(NOISELESS, shading_rg=0.2), f_number=8.0, size=(300, 200), seed=1).pixels
    assert np.log2(pixels[0, 0, 0] / pixels[0, 0, 1]) == pytest.approx(0.2, abs=0.004)
    assert pixels[0, 0, 2] == pixels[0, 0, 1]


def test_a_clean_frame_shows_the_lens_s_falloff_and_nothing_else():
    scene = replace(NOISELESS, focal_length_mm=24, vignetting_ev=1.0)
    pixels = render_frame(scene, f_number=4.0, size=(192, 128), seed=1).pixels[..., 1]
    half = np.hypot(192, 128) / 2
    row = np.hypot((np.arange(192) - 95.5) / half, 0.5 / half)
    assert pixels[64] == pytest.approx(0.35 * falloff(scene, 4.0, row), rel=1e-5)


@pytest.mark.parametrize("stop", [2.8, 8.0, 22.0])
def test_a_large_frame_shows_the_same_light_as_a_small_one(stop):
    scene = replace(
        NOISELESS, vignetting_ev=1.5, patch=Patch(shape="polygon", strength_ev=0.3, tint_rg=0.1, radius=0.15)
    )
    small, large = (
        area_average(render_frame(scene, f_number=stop, size=size, seed=1).pixels)
        for size in ((384, 256), (1920, 1280))
    )
    assert np.abs(np.log2(large / small)).max() < 0.01
    assert np.abs(np.log2(large / small)).mean() < 1e-4


def test_a_sweep_keeps_its_target_and_changes_its_noise():
    scene = replace(
        RICH, patch=None, dust_specks=0, vignetting_ev=0, texture_ev=0.03, full_well_electrons=1e6
    )
    first, second = (
        frame.pixels[..., 1] for frame in render_sweep(scene, [8.0, 11.0], size=(192, 128), seed=2)
    )
    assert np.abs(np.log2(first / second)).std() < 0.01 < np.log2(first).std()
    assert not np.array_equal(first, second)


def test_exposure_drifts_through_a_sweep_by_the_spread_asked_for():
    scene = replace(NOISELESS, drift_ev=0.1)
    frames = render_sweep(scene, [8.0] * 60, size=(24, 16), seed=1)
    levels = np.log2([frame.pixels[8, 12, 1] for frame in frames])
    assert levels.std() == pytest.approx(0.1, rel=0.3)
    assert levels - np.log2(0.35) == pytest.approx([frame.exposure_ev for frame in frames], abs=5e-3)


def test_a_sweep_is_the_frames_in_the_order_of_its_f_numbers():
    frames = render_sweep(RICH, [2.8, 5.6, 11.0], size=(48, 32), seed=1)
    assert [frame.f_number for frame in frames] == [2.8, 5.6, 11.0]
    excess = [frame.truth.excess_ev for frame in frames]
    assert excess == sorted(excess) and excess[0] > 0


def test_more_exposure_is_more_light_by_so_many_ev():
    plain, more = (
        render_frame(NOISELESS, f_number=8.0, size=(48, 32), seed=1, exposure_ev=ev).pixels
        for ev in (0.0, 1.0)
    )
    assert more == pytest.approx(2 * plain)


def test_twenty_four_megapixels_are_rendered_with_noise_in_every_pixel():
    frame = render_frame(Scene(), f_number=8.0, size=(6000, 4000), seed=1)
    assert frame.pixels.shape == (4000, 6000, 3)
    patch = frame.pixels[1990:2010, 2990:3010, 1].astype(float)
    assert patch.std() == pytest.approx(np.sqrt(0.35 / 30_000), rel=0.1)


def test_an_aperture_wider_than_the_lens_is_refused():
    with pytest.raises(InvalidInput, match=r"f/1\.4 is wider than this lens's widest aperture, f/2\.8"):
        render_frame(Scene(), f_number=1.4, size=(96, 64), seed=1)


def test_an_empty_frame_is_refused():
    with pytest.raises(InvalidInput, match="96 × 0"):
        render_frame(Scene(), f_number=8, size=(96, 0), seed=1)
