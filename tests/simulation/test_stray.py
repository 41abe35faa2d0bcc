"""The hotspot's shapes and its way from stop to stop."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from registry.errors import InvalidInput
from registry.simulation.scene import PATCH_SHAPES, STRONGEST_EV, Ghost, Patch, Scene
from registry.simulation.stray import ghost_light, patch_at, patch_shape

NM = 720.0
_SIDE = np.linspace(-0.5, 0.5, 801)
_X, _Y = _SIDE[None, :], _SIDE[:, None]
_STEP = _SIDE[1] - _SIDE[0]


def _shape(patch, f_number=8.0):
    return patch_shape(patch, patch_at(patch, f_number, NM), _X, _Y)


@pytest.mark.parametrize("shape", PATCH_SHAPES)
def test_every_shape_is_smooth_light_that_fades_outwards(shape):
    light = _shape(Patch(shape=shape, radius=0.15))
    assert light.min() >= 0
    assert light.max() == pytest.approx(1, abs=0.02) or shape == "ring"
    assert light[0, 0] < 0.03
    assert np.abs(np.diff(light, axis=0)).max() < 0.1


def test_the_excess_grows_and_the_patch_shrinks_as_the_aperture_closes():
    patch = Patch(strength_ev=0.2, radius=0.2, growth=1.5, shrink=0.5)
    wide, reference, narrow = (patch_at(patch, stop, NM) for stop in (4.0, 8.0, 16.0))
    assert reference.strength_ev == pytest.approx(0.2)
    assert narrow.strength_ev == pytest.approx(0.2 * 2**1.5)
    assert wide.strength_ev == pytest.approx(0.2 * 2**-1.5)
    assert [now.radius for now in (wide, reference, narrow)] == pytest.approx(
        [0.2 * 2**0.5, 0.2, 0.2 * 2**-0.5]
    )


def test_the_edge_hardens_as_the_aperture_closes():
    patch = Patch(shape="disc", edge=0.3, hardening=1.0)
    assert patch_at(patch, 16.0, NM).edge / patch_at(patch, 16.0, NM).radius == pytest.approx(0.15)
    assert patch_at(Patch(), 16.0, NM).exponent > patch_at(Patch(), 8.0, NM).exponent == 2.0


def test_longer_waves_make_a_stronger_patch():
    strengths = [patch_at(Patch(), 8.0, nm).strength_ev for nm in (590, 665, 720, 830)]
    assert strengths == sorted(strengths)
    assert strengths[2] == pytest.approx(0.3)


def test_a_patch_never_outgrows_its_cap():
    assert patch_at(Patch(strength_ev=2.0, growth=3.0), 64.0, NM).strength_ev == STRONGEST_EV


def test_a_soft_disc_is_a_disc_blurred_by_a_gaussian():
    patch = Patch(shape="disc", radius=0.2, edge=0.15)
    blurred = gaussian_filter((np.hypot(_X, _Y) <= 0.2).astype(float), 0.03 / _STEP)
    assert np.abs(_shape(patch) - blurred).max() < 0.05  # a straight edge stands for the curved one


@pytest.mark.parametrize("blades", [5, 6, 9])
def test_a_polygon_is_the_blurred_image_of_an_iris(blades):
    patch = Patch(shape="polygon", blades=blades, radius=0.2, edge=0.08, rotation_deg=17)
    apothem = 0.2 * np.sqrt(np.pi / (blades * np.tan(np.pi / blades)))
    iris = np.ones((801, 801), dtype=bool)
    for blade in range(blades):
        facing = np.radians(17) + 2 * np.pi * blade / blades
        iris &= _X * np.cos(facing) + _Y * np.sin(facing) <= apothem
    blurred = gaussian_filter(iris.astype(float), 0.016 / _STEP)
    assert np.abs(_shape(patch) - blurred).max() < 0.02
    assert iris.sum() * _STEP**2 == pytest.approx(np.pi * 0.2**2, rel=0.005)


def test_a_ring_is_darker_in_its_middle_and_a_skirt_reaches_beyond_its_core():
    ring = _shape(Patch(shape="ring", radius=0.2, ring_fill=0.4))[400]
    assert ring[400] == pytest.approx(0.4, abs=0.02)
    assert ring.max() > 0.8
    skirted, plain = (_shape(Patch(shape=shape, radius=0.1))[400] for shape in ("skirted", "gaussian"))
    assert skirted[640] > 20 * plain[640]


def test_a_patch_sits_where_its_centre_is():
    light = _shape(Patch(centre=(0.1, -0.05)))
    row, column = np.unravel_index(light.argmax(), light.shape)
    assert (_SIDE[column], _SIDE[row]) == pytest.approx((0.1, -0.05), abs=0.002)


def test_ghosts_add_light_where_they_sit():
    light = ghost_light(
        (Ghost(centre=(0.3, 0.2), radius=0.05, strength_ev=0.1),), np.array([0.3, -0.3]), np.array(0.2)
    )
    assert light == pytest.approx([2**0.1 - 1, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Patch(shape="star"), "star"),
        (lambda: Patch(radius=0.0), "radius is 0"),
        (lambda: Patch(strength_ev=float("nan")), "nan"),
        (lambda: Scene(projection="flat"), "flat"),
        (lambda: Scene(focal_length_mm=0), "focal_length_mm is 0"),
        (lambda: Scene(level=9), "level is 9"),
    ],
)
def test_impossible_scenes_are_refused_with_the_value_and_a_remedy(make, says):
    with pytest.raises(InvalidInput, match=says) as refusal:
        make()
    assert refusal.value.first.remedy
