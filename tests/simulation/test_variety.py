"""Set-ups drawn at random: varied, renderable, and fixed by their generator."""

import numpy as np

from registry.simulation.reduced import as_linear_image
from registry.simulation.render import render_frame
from registry.simulation.scene import PATCH_SHAPES
from registry.simulation.variety import careful_exposure_ev, draw_scene


def _scenes(count, **options):
    rng = np.random.default_rng(11)
    return [draw_scene(rng, **options) for _ in range(count)]


def test_drawn_scenes_cover_every_shape_and_a_wide_range_of_strengths():
    patches = [scene.patch for scene in _scenes(200)]
    assert {patch.shape for patch in patches} == set(PATCH_SHAPES)
    strengths = [patch.strength_ev for patch in patches]
    assert min(strengths) < 0.02 and max(strengths) > 0.9


def test_drawn_scenes_render_into_frames_that_an_honest_contributor_could_send():
    clipped = []
    for seed, scene in enumerate(_scenes(60)):
        frame = render_frame(scene, f_number=max(8.0, scene.widest), size=(192, 128), seed=seed)
        image = as_linear_image(frame)
        assert np.isfinite(image.pixels).all()
        assert 0 < frame.truth.radius < 1.2 and frame.truth.peak_ev >= frame.truth.excess_ev - 1e-6
        clipped.append(image.clipped > 0.002)
    assert np.mean(clipped) < 0.1


def test_clean_scenes_can_be_drawn_too():
    assert all(scene.patch is None for scene in _scenes(10, with_patch=False))


def test_a_generator_fixes_the_scenes_it_draws():
    assert _scenes(5) == _scenes(5)


def test_a_careful_exposure_leaves_no_patch_clipped():
    size = (192, 128)
    for seed, scene in enumerate(_scenes(12)):
        exposure_ev = careful_exposure_ev(scene, 22.0, size)
        shot = render_frame(scene, f_number=22.0, size=size, seed=seed, exposure_ev=exposure_ev)
        assert exposure_ev <= 0
        assert (shot.pixels >= 253 / 255).any(axis=2).mean() < 0.002
