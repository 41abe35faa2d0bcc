"""The simulated target and its light: as uneven as asked, and the same throughout a sweep."""

import numpy as np
import pytest

from registry.simulation import target
from registry.simulation.render import frame_axes
from registry.simulation.scene import Scene

X, Y = frame_axes(192, 128, 192, 128)


def test_positions_are_pixel_centres_in_half_diagonals():
    half = np.hypot(192, 128) / 2
    assert X[0, 0] == pytest.approx(-95.5 / half)
    assert Y[-1, 0] == pytest.approx(63.5 / half)
    assert np.hypot(X[0, -1] + 0.5 / half, Y[-1, 0] + 0.5 / half) == pytest.approx(1)


@pytest.mark.parametrize(("direction", "right", "down"), [(0, 0.2, 0.0), (90, 0.0, 0.2), (180, -0.2, 0.0)])
def test_tilted_light_rises_towards_its_direction_by_so_many_ev_per_half_diagonal(direction, right, down):
    scene = Scene(tilt_ev=0.2, tilt_direction_deg=direction)
    assert target.light_tilt(scene, np.array(1.0), np.array(0.0)) == pytest.approx(right)
    assert target.light_tilt(scene, np.array(0.0), np.array(1.0)) == pytest.approx(down)


def test_unevenness_has_the_spread_asked_for_over_many_targets():
    scene = Scene(unevenness_ev=0.02)
    spreads = [
        np.mean(target.unevenness(scene, X, Y, np.random.default_rng(seed)) ** 2) for seed in range(300)
    ]
    assert np.sqrt(np.mean(spreads)) == pytest.approx(0.02, rel=0.1)


def test_texture_has_the_spread_and_grain_asked_for():
    fine, coarse = (
        target.texture(Scene(texture_ev=0.01, texture_scale=scale), (128, 192), np.random.default_rng(1))
        for scale in (0.005, 0.03)
    )
    assert fine.std() == pytest.approx(0.01) and coarse.std() == pytest.approx(0.01)
    assert np.diff(coarse, axis=1).std() < 0.5 * np.diff(fine, axis=1).std()


def test_dust_darkens_and_shows_most_at_small_apertures():
    scene = Scene(dust_specks=4)
    wide, narrow = (target.dust(scene, stop, X, Y, np.random.default_rng(2)) for stop in (2.8, 16.0))
    assert narrow.max() <= 0
    assert narrow.min() < 3 * wide.min() < 0
    assert narrow.min() >= -4 * scene.dust_depth_ev
