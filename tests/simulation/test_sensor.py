"""Noise of the simulated sensor, against the Poisson law."""

import numpy as np
import pytest
from scipy import stats

from registry.simulation.scene import Scene
from registry.simulation.sensor import bell_numbers, expose

WELL = 20_000.0


def _electrons(mean, *, read=0.0, shape=(400, 500, 3), seed=1):
    light = np.full(shape, mean / WELL, dtype=np.float32)
    scene = Scene(full_well_electrons=WELL, read_noise_electrons=read)
    return expose(light, scene, np.random.default_rng(seed)) * WELL


# Shot noise is Poisson: variance = mean (any textbook on photon statistics). 600,000 pixels: ± 0.2 % (1 sd).
@pytest.mark.parametrize("mean", [8, 50, 300, 5000])
def test_the_variance_of_counted_light_is_its_mean(mean):
    electrons = _electrons(mean)
    assert electrons.mean() == pytest.approx(mean, rel=2e-3)
    assert electrons.var() == pytest.approx(mean, rel=0.01)


def test_few_electrons_come_in_whole_numbers_and_skewed_as_poisson_has_it():
    electrons = _electrons(6).ravel()
    assert np.abs(electrons - np.round(electrons)).max() < 0.01
    assert stats.skew(electrons) == pytest.approx(6**-0.5, rel=0.03)


def test_read_noise_adds_to_shot_noise_in_quadrature():
    assert _electrons(400, read=15).var() == pytest.approx(400 + 15**2, rel=0.01)
    assert _electrons(40, read=5).var() == pytest.approx(40 + 5**2, rel=0.01)


def test_averages_of_pixels_are_as_noisy_as_independent_pixels_make_them():
    electrons = _electrons(1000)[..., 1]
    blocks = electrons.reshape(40, 10, 50, 10).mean(axis=(1, 3))
    assert blocks.var() == pytest.approx(1000 / 100, rel=0.1)
    assert abs(np.corrcoef(electrons[:, :-1].ravel(), electrons[:, 1:].ravel())[0, 1]) < 0.01


def test_quick_normal_numbers_have_the_moments_of_normal_ones():
    numbers = bell_numbers(np.random.default_rng(3), (1_000_000,)).astype(float)
    assert numbers.mean() == pytest.approx(0, abs=5e-3)
    assert numbers.var() == pytest.approx(1, abs=5e-3)
    assert stats.skew(numbers) == pytest.approx(0, abs=0.01)
    assert stats.kurtosis(numbers) == pytest.approx(-1 / 32, abs=0.02)


def test_light_beyond_the_full_well_is_cut_off():
    pixels = expose(np.full((8, 8, 3), 1.7, dtype=np.float32), Scene(), np.random.default_rng(1))
    assert np.all(pixels == 1.0)


def test_a_sensor_without_full_well_and_read_noise_renders_the_bare_light():
    light = np.linspace(0, 1, 96, dtype=np.float32).reshape(4, 8, 3)
    scene = Scene(full_well_electrons=0, read_noise_electrons=0)
    assert np.array_equal(expose(light.copy(), scene, np.random.default_rng(1)), light)


def test_noise_depends_on_the_generator_alone():
    assert np.array_equal(_electrons(500, seed=4), _electrons(500, seed=4))
    assert not np.array_equal(_electrons(500, seed=4), _electrons(500, seed=5))
