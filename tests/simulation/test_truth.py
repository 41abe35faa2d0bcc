"""The truth that comes with a frame, against the definition applied to noiseless pixels."""

from dataclasses import replace

import numpy as np
import pytest

from registry.simulation.render import render_frame, true_hotspot
from registry.simulation.scene import PATCH_SHAPES, Ghost, Patch, Scene
from registry.simulation.truth import Truth

SIZE = (384, 256)
NOISELESS = {"full_well_electrons": 0.0, "read_noise_electrons": 0.0, "level": 0.2}
# ITU-R BT.709 luminance
Y = np.array([0.2126, 0.7152, 0.0722])


def _with_and_without(scene, f_number=8.0):
    hot = render_frame(scene, f_number=f_number, size=SIZE, seed=5)
    clean = render_frame(replace(scene, patch=None), f_number=f_number, size=SIZE, seed=5)
    return hot, clean


def _distance(centre):
    half = np.hypot(*SIZE) / 2
    x = (np.arange(SIZE[0]) + 0.5 - SIZE[0] / 2) / half - centre[0]
    y = (np.arange(SIZE[1]) + 0.5 - SIZE[1] / 2) / half - centre[1]
    return np.hypot(x[None, :], y[:, None])


@pytest.mark.parametrize("shape", PATCH_SHAPES)
def test_the_excess_is_the_ratio_of_mean_luminances_in_the_central_disc(shape):
    patch = Patch(shape=shape, strength_ev=0.4, radius=0.18, centre=(0.03, -0.02), tint_rg=0.1, tint_bg=-0.05)
    scene = Scene(
        focal_length_mm=28, vignetting_ev=1, tilt_ev=0.1, unevenness_ev=0.01, patch=patch, **NOISELESS
    )
    hot, clean = _with_and_without(scene)
    disc = _distance(patch.centre) <= 0.03
    excess = np.log2((hot.pixels[disc] @ Y).mean() / (clean.pixels[disc] @ Y).mean())
    assert hot.truth.excess_ev == pytest.approx(excess, abs=1e-3)
    gain = np.log2(hot.pixels[disc].mean(axis=0) / clean.pixels[disc].mean(axis=0))
    assert hot.truth.tint_rg == pytest.approx(gain[0] - gain[1], abs=1e-3)
    assert hot.truth.tint_bg == pytest.approx(gain[2] - gain[1], abs=1e-3)


@pytest.mark.parametrize("shape", PATCH_SHAPES)
def test_peak_and_radius_are_those_of_the_azimuthal_mean(shape):
    hot, clean = _with_and_without(Scene(patch=Patch(shape=shape, strength_ev=0.4, radius=0.18), **NOISELESS))
    rings = (_distance((0, 0)) / 0.006).astype(int).ravel()
    mean_hot, mean_clean = (
        np.bincount(rings, (frame.pixels @ Y).ravel()) / np.bincount(rings) for frame in (hot, clean)
    )
    profile = np.log2(mean_hot / mean_clean)[:140]
    assert hot.truth.peak_ev == pytest.approx(profile.max(), abs=4e-3)
    outermost = np.flatnonzero(profile >= profile.max() / 2)[-1]
    assert hot.truth.radius == pytest.approx((outermost + 1) * 0.006, abs=0.006)


@pytest.mark.parametrize("shape", ["gaussian", "disc", "polygon", "skirted"])
def test_excess_and_tint_are_nominal_for_a_broad_patch_in_the_middle(shape):
    patch = Patch(shape=shape, strength_ev=0.25, radius=0.3, edge=0.1, tint_rg=0.08, tint_bg=-0.04)
    truth = true_hotspot(Scene(cast_rg=0.5, cast_bg=-0.3, patch=patch), f_number=8.0, size=SIZE)
    assert truth.excess_ev == pytest.approx(0.25, abs=3e-3)
    assert (truth.tint_rg, truth.tint_bg) == pytest.approx((0.08, -0.04), abs=2e-3)


def test_a_tint_may_come_without_brightness():
    patch = Patch(strength_ev=0.0, tint_rg=0.15, radius=0.2)
    truth = true_hotspot(Scene(patch=patch), f_number=8.0, size=SIZE)
    assert truth.excess_ev == pytest.approx(0, abs=1e-3)
    assert truth.tint_rg == pytest.approx(0.15, abs=5e-3)


def test_without_a_patch_the_truth_is_zero():
    assert render_frame(Scene(ghosts=(Ghost(),)), f_number=8.0, size=(96, 64), seed=1).truth == Truth()


def test_ghosts_and_dust_are_no_part_of_the_hotspot():
    plain = Scene(patch=Patch(strength_ev=0.3))
    littered = replace(plain, ghosts=(Ghost(),), dust_specks=5, texture_ev=0.01)
    first, second = (
        render_frame(scene, f_number=8.0, size=(96, 64), seed=1).truth for scene in (plain, littered)
    )
    assert second.excess_ev == pytest.approx(first.excess_ev, abs=1e-3)
    assert second.radius == pytest.approx(first.radius, abs=0.003)


def test_the_truth_does_not_depend_on_how_many_pixels_show_it():
    scene = Scene(patch=Patch(shape="polygon"), vignetting_ev=0.8)
    small, large = (true_hotspot(scene, f_number=11.0, size=size) for size in ((96, 64), (6000, 4000)))
    assert small == large


def test_the_sweeps_truths_follow_growth_and_shrinking():
    scene = Scene(patch=Patch(strength_ev=0.1, growth=1.0, shrink=0.5, hardening=0.0, radius=0.25))
    truths = [true_hotspot(scene, f_number=stop, size=SIZE) for stop in (4.0, 8.0, 16.0)]
    assert [truth.peak_ev for truth in truths] == pytest.approx([0.05, 0.1, 0.2], rel=0.01)
    radii = [truth.radius for truth in truths]
    assert radii[1] / radii[2] == pytest.approx(2**0.5, rel=0.05)
