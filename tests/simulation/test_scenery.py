"""A landscape in place of the target: as rough as pictures are, far from any even wall."""

from dataclasses import replace

import numpy as np
import pytest

from registry.errors import InvalidInput
from registry.simulation.render import render_frame
from registry.simulation.scene import Scene
from registry.simulation.scenery import one_over_f, render_scenery
from registry.simulation.truth import Truth

SCENE = Scene(level=0.2)


def test_power_falls_with_the_square_of_frequency():
    fields = [one_over_f((128, 128), np.random.default_rng(seed)) for seed in range(20)]
    power = np.mean([np.abs(np.fft.rfft(field, axis=1)) ** 2 for field in fields], axis=(0, 1))
    octaves = np.log2(power[4:8].mean() / power[16:32].mean())
    # Along a row the two-dimensional 1/f² integrates to about 1/f: two octaves up, two octaves less.
    assert octaves == pytest.approx(2, abs=0.5)


def test_a_landscape_varies_as_no_target_does():
    landscape = render_scenery(SCENE, f_number=8.0, size=(192, 128), seed=1).pixels[..., 1]
    target = render_frame(replace(SCENE, unevenness_ev=0.02), f_number=8.0, size=(192, 128), seed=1).pixels[
        ..., 1
    ]
    assert np.log2(landscape).std() > 5 * np.log2(target).std()


def test_landscapes_follow_their_seed_and_claim_no_truth():
    first, again, other = (
        render_scenery(SCENE, f_number=8.0, size=(300, 200), seed=seed) for seed in (1, 1, 2)
    )
    assert np.array_equal(first.pixels, again.pixels)
    assert not np.array_equal(first.pixels, other.pixels)
    assert first.truth == Truth()
    assert first.pixels.shape == (200, 300, 3)


def test_a_landscape_needs_a_possible_aperture_too():
    with pytest.raises(InvalidInput, match="wider"):
        render_scenery(SCENE, f_number=1.0, size=(96, 64), seed=1)
