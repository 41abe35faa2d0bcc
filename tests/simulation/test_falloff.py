"""Falloff of the simulated lens, against the textbook laws and against plain geometry."""

import numpy as np
import pytest

from registry.simulation.falloff import falloff, field_angle, natural_falloff, open_share, rim_vignetting
from registry.simulation.scene import Scene

TELE = 2000.0
"""A focal length so long that natural falloff vanishes and the rims' part stands alone."""


def _radius_at(scene, degrees):
    return np.tan(np.radians(degrees)) * scene.focal_length_mm / scene.half_diagonal_mm


# cos⁴ of the field angle in EV: 4 log2 cos θ, computed by hand from the law as I. C. Gardner discusses it, Validity of
# the cosine-fourth-power law of illumination, Journal of Research of the NBS 39, 1947, 213 (reference from memory).
@pytest.mark.parametrize(("degrees", "ev"), [(10, -0.0883), (20, -0.3590), (30, -0.8301), (45, -2.0)])
def test_a_plain_rectilinear_lens_obeys_the_cosine_to_the_fourth(degrees, ev):
    scene = Scene(focal_length_mm=20)
    assert np.log2(natural_falloff(scene, _radius_at(scene, degrees))) == pytest.approx(ev, abs=5e-5)


def test_a_35_mm_lens_darkens_the_corner_of_36_by_24_mm_by_0_934_ev():
    """The same law by hand: cos⁴ arctan(21.633 / 35)."""
    corner = falloff(Scene(focal_length_mm=35, half_diagonal_mm=np.hypot(18, 12)), 8.0, np.array(1.0))
    assert np.log2(corner) == pytest.approx(-0.934, abs=1e-3)


def test_an_equidistant_fisheye_maps_angles_to_radii_evenly_and_darkens_less_than_cosine_to_the_fourth():
    scene = Scene(focal_length_mm=15, projection="fisheye")
    angle = field_angle(scene, np.array([0.25, 0.5, 1.0]))
    assert angle == pytest.approx(np.array([0.25, 0.5, 1.0]) * 21.63 / 15)
    # Same pupil, same flux: light per image area is cos θ sin θ dθ over r dr with r = f θ.
    light = natural_falloff(scene, np.array([0.25, 0.5, 1.0]))
    assert light == pytest.approx(np.cos(angle) * np.sin(angle) / angle)
    assert np.all(light > np.cos(angle) ** 4)


def test_a_pupil_that_grows_off_axis_takes_powers_from_the_cosine():
    scene = Scene(focal_length_mm=24, pupil_growth=1.0)
    radius = np.linspace(0, 1, 9)
    assert natural_falloff(scene, radius) == pytest.approx(np.cos(field_angle(scene, radius)) ** 3)


def test_an_image_side_telecentric_lens_has_no_natural_falloff():
    assert natural_falloff(
        Scene(focal_length_mm=24, telecentric_factor=0.0), np.array([0.5, 1.0])
    ) == pytest.approx(1)


@pytest.mark.parametrize("shift", [0.0, 0.1, 0.4, 0.8])
def test_two_rims_as_large_as_the_pupil_leave_the_lens_shape_of_two_circles(shift):
    # Area common to two unit circles a distance d apart: 2 arccos(d/2) − d/2 √(4 − d²), elementary geometry.
    apart = 2 * shift
    expected = (2 * np.arccos(apart / 2) - apart / 2 * np.sqrt(4 - apart**2)) / np.pi
    assert open_share(1.0, 1.0, np.array(shift)) == pytest.approx(expected, abs=1e-3)


def test_the_cats_eye_has_the_area_that_counting_points_finds():
    side = np.linspace(-1, 1, 2001)
    x, y = np.meshgrid(side, side)
    pupil = x**2 + y**2 <= 0.8**2
    between = (np.hypot(x - 0.45, y) <= 1.1) & (np.hypot(x + 0.45, y) <= 1.1)
    counted = np.sum(pupil & between) / np.sum(pupil)
    assert open_share(0.8, 1.1, np.array(0.45)) == pytest.approx(counted, abs=1e-3)


@pytest.mark.parametrize("loss_ev", [0.3, 1.0, 2.2])
def test_vignetting_loses_what_was_asked_at_the_corner_and_nothing_inside_its_onset(loss_ev):
    scene = Scene(vignetting_ev=loss_ev, vignetting_onset=0.4, widest=2.0)
    assert np.log2(rim_vignetting(scene, 2.0, np.array(1.0))) == pytest.approx(-loss_ev, abs=1e-3)
    assert rim_vignetting(scene, 2.0, np.linspace(0, 0.39, 9)) == pytest.approx(1, abs=1e-9)


def test_vignetting_fades_as_the_aperture_closes_and_cosine_falloff_stays():
    scene = Scene(focal_length_mm=35, vignetting_ev=1.5, widest=2.0)
    corner = np.log2([falloff(scene, stop, np.array(1.0)) for stop in (2.0, 2.8, 4.0, 5.6, 8.0)])
    assert np.all(np.diff(corner) > -1e-12)
    assert corner[-1] == pytest.approx(np.log2(natural_falloff(scene, np.array(1.0))), abs=0.01)


@pytest.mark.parametrize("f_number", [2.8, 8.0])
def test_a_full_lens_profile_flattens_the_field_at_every_aperture_but_for_a_ripple(f_number):
    radius = np.linspace(0, 1, 50)
    raw = Scene(focal_length_mm=28, vignetting_ev=1.0, widest=2.8)
    corrected = Scene(focal_length_mm=28, vignetting_ev=1.0, widest=2.8, profile_correction=1.0)
    assert np.ptp(np.log2(falloff(raw, f_number, radius))) > 1.2
    assert np.ptp(np.log2(falloff(corrected, f_number, radius))) < 0.1


def test_a_circular_fisheye_sends_nothing_beyond_its_image_circle():
    scene = Scene(focal_length_mm=8, projection="fisheye", image_circle_mm=24, pupil_growth=1.0)
    edge = 12 / 21.63
    inside, outside = falloff(scene, 8.0, np.array([edge - 0.05, edge + 0.05]))
    assert inside > 0.5
    assert outside < 1e-4


def test_a_tele_lens_without_rims_is_flat():
    assert falloff(Scene(focal_length_mm=TELE), 8.0, np.linspace(0, 1, 5)) == pytest.approx(1, abs=5e-4)
