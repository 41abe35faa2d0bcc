"""One frame: the excess of a known hotspot, its place, its tint, and how sure that is."""

import json
from dataclasses import replace

import numpy as np
import pytest
from photutils.profiles import RadialProfile

from registry.photometry.frame import measure_frame
from registry.photometry.measurement import MEASURED, REJECTED, UNCERTAIN, Measurement
from tests.photometry.builders import measured, patch, photograph, target


@pytest.mark.parametrize("strength", [0.1, 0.2, 0.4, 0.8])
@pytest.mark.parametrize("shape", ["gaussian", "disc", "polygon", "ring"])
def test_the_excess_of_a_known_patch_is_found_within_its_interval(strength, shape):
    found, truth = measured(target(patch(strength, shape=shape, radius=0.12)))
    assert found.status == MEASURED
    assert found.ev == pytest.approx(truth.excess_ev, abs=max(0.02, 0.08 * truth.excess_ev))
    assert found.ev_low - 0.005 <= truth.excess_ev <= found.ev_high + 0.005


@pytest.mark.parametrize("seed", range(1, 9))
def test_a_clean_target_shows_no_hotspot(seed):
    found, _ = measured(target(), seed=seed, kind="jpeg")
    assert not found.visible_at(0.10)
    assert found.ev < 0.03


def test_the_patch_is_found_where_it_is():
    found, truth = measured(target(patch(0.4, centre=(0.05, -0.03))))
    assert found.centre == pytest.approx(truth.centre, abs=0.012)
    assert found.radius == pytest.approx(truth.radius, rel=0.2)


def test_a_tint_is_quoted_with_its_colour():
    found, truth = measured(target(patch(0.5, tint_rg=0.12, tint_bg=-0.1)))
    assert found.tint_rg == pytest.approx(truth.tint_rg, abs=0.04)
    assert found.tint_bg == pytest.approx(truth.tint_bg, abs=0.04)


def test_how_bright_the_light_is_changes_nothing():
    image, _ = photograph(target(patch(0.3)))
    dimmer = replace(image, pixels=image.pixels * 0.5)
    first, second = (measure_frame(one, f_number=8, focal_length_mm=50) for one in (image, dimmer))
    assert second.ev == pytest.approx(first.ev, abs=1e-3)


def test_a_mirrored_frame_has_a_mirrored_centre():
    image, _ = photograph(target(patch(0.4, centre=(0.05, 0.0))))
    mirrored = replace(image, pixels=image.pixels[:, ::-1].copy())
    first, second = (measure_frame(one, f_number=8, focal_length_mm=50) for one in (image, mirrored))
    assert second.ev == pytest.approx(first.ev, abs=0.005)
    assert second.centre[0] == pytest.approx(-first.centre[0], abs=0.006)


def test_a_control_frame_settles_a_broad_patch_that_one_frame_cannot():
    image, truth = photograph(target(patch(0.25, radius=0.3, shape="gaussian")))
    control, _ = photograph(target(), seed=5)
    alone = measure_frame(image, f_number=8, focal_length_mm=50)
    with_control = measure_frame(image, f_number=8, focal_length_mm=50, control=control)
    assert alone.status == UNCERTAIN
    assert with_control.status == MEASURED
    assert with_control.ev_low <= truth.excess_ev <= with_control.ev_high
    assert abs(with_control.ev - truth.excess_ev) < abs(alone.ev - truth.excess_ev)


@pytest.mark.parametrize("reach", [1.8, 2.5])
def test_a_skirt_that_may_pass_for_falloff_widens_the_interval(reach):
    skirted, truth = measured(target(patch(0.4, shape="skirted", skirt_share=0.3, skirt_reach=reach)))
    plain, _ = measured(target(patch(0.4, shape="disc")))
    assert skirted.ev_low <= truth.excess_ev <= skirted.ev_high
    assert skirted.ev_high - skirted.ev_low > 1.3 * (plain.ev_high - plain.ev_low)


def test_a_strong_patch_with_a_hard_edge_keeps_its_height():
    found, truth = measured(target(patch(1.2, shape="polygon", edge=0.05, radius=0.13)))
    assert found.status == MEASURED
    assert found.ev == pytest.approx(truth.excess_ev, rel=0.05)


@pytest.mark.parametrize("vignetting_ev", [0.8, 1.5])
@pytest.mark.parametrize("shape", ["polygon", "disc"])
def test_no_patch_is_read_with_a_dark_ring_around_it(shape, vignetting_ev):
    """A hotspot is added light: what it seems to take away belongs to the falloff."""
    strong = patch(0.8, shape=shape, edge=0.06, radius=0.15)
    found, truth = measured(target(strong, vignetting_ev=vignetting_ev), f_number=4, kind="jpeg")
    assert found.profile.excess.min() > -0.02 * truth.excess_ev


def test_an_unknown_tone_curve_widens_the_interval():
    image, _ = photograph(target(patch(0.3)))
    known = measure_frame(image, f_number=8, focal_length_mm=50)
    unknown = measure_frame(
        replace(image, linear=False, tone_gain=(0.8, 1.6)), f_number=8, focal_length_mm=50
    )
    assert unknown.ev_high - unknown.ev_low > 1.5 * (known.ev_high - known.ev_low)
    assert unknown.notes


def test_the_profile_is_the_one_a_general_photometry_package_finds():
    """photutils 3.0 RadialProfile of an easy frame: no falloff, no tilt, hardly any noise."""
    scene = target(
        patch(0.4, shape="gaussian"), vignetting_ev=0, tilt_ev=0, focal_length_mm=600, telecentric_factor=0.3
    )
    image, _ = photograph(scene)
    found = measure_frame(image, f_number=8, focal_length_mm=600)
    light = np.log2(image.luminance)
    height, width = light.shape
    half_diagonal = np.hypot(width, height) / 2
    middle = (
        width / 2 - 0.5 + found.centre[0] * half_diagonal,
        height / 2 - 0.5 + found.centre[1] * half_diagonal,
    )
    edges = np.linspace(0, 0.4 * half_diagonal, 9)
    reference = RadialProfile(light, middle, edges)
    outside = float(np.median(light[np.hypot(*np.ogrid[:height, :width]) > 0][-width * 4 :]))
    radii = np.asarray(reference.radius) / half_diagonal
    ours = np.interp(radii, found.profile.radius, found.profile.excess)
    assert ours == pytest.approx(np.asarray(reference.profile) - outside, abs=0.01)


def test_a_measurement_survives_storage():
    found, _ = measured(target(patch(0.3)))
    again = Measurement.from_dict(json.loads(json.dumps(found.to_dict())))
    assert again.ev == pytest.approx(found.ev, abs=1e-6)
    assert again.profile.excess == pytest.approx(found.profile.excess, abs=1e-6)
    refused = Measurement(status=REJECTED)
    assert Measurement.from_dict(json.loads(json.dumps(refused.to_dict()))).ev is None
