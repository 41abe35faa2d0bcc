"""What is no plain, evenly lit target is refused with a number and a way on; honest targets are not."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from skimage import data
from sklearn.datasets import load_sample_images

from registry.optics.linear_image import LinearImage
from registry.photometry.frame import measure_frame
from registry.photometry.measurement import REJECTED
from registry.simulation.reduced import area_average, as_linear_image
from registry.simulation.scenery import render_scenery
from registry.simulation.tones import srgb_decode
from tests.photometry.builders import SIZE, measured, patch, photograph, target


def refusal_of(image, **frame):
    found = measure_frame(image, **{"f_number": 8, "focal_length_mm": 50, **frame})
    assert found.status == REJECTED
    assert found.ev is None
    return found.refusal


def test_a_clipped_frame_is_refused_with_the_share():
    image, _ = photograph(target())
    refusal = refusal_of(replace(image, clipped=0.03))
    assert refusal.code == "clipped"
    assert "3" in refusal.says and "by eye" in refusal.says


def test_an_underexposed_frame_is_refused_with_its_level():
    image, _ = photograph(target())
    refusal = refusal_of(replace(image, median_level=20.0))
    assert refusal.code == "underexposed"
    assert "20" in refusal.says


def test_a_tilted_frame_is_refused():
    image, _ = photograph(target(tilt_ev=0.9))
    assert refusal_of(image).code == "tilted"


def test_a_noisy_frame_is_refused():
    image, _ = photograph(target())
    rough = image.pixels * np.exp2(np.random.default_rng(3).normal(0, 0.1, image.pixels.shape[:2]))[..., None]
    assert refusal_of(replace(image, pixels=rough.astype(np.float32))).code in ("noisy", "not-a-plain-target")


def as_image(codes: np.ndarray) -> LinearImage:
    light = area_average(srgb_decode(codes[..., :3] / 255.0).astype(np.float32))
    height, width = codes.shape[:2]
    return LinearImage(
        pixels=light,
        width=width,
        height=height,
        clipped=0.0,
        black=0.0,
        median_level=float(np.median(codes.max(axis=-1))),
        kind="jpeg",
        linear=False,
    )


def pictures():
    """Photographs that general-purpose packages ship: scikit-image's and scikit-learn's sample pictures."""
    found = {"astronaut": data.astronaut(), "coffee": data.coffee(), "cat": data.chelsea()}
    found |= {f"sample-{index}": picture for index, picture in enumerate(load_sample_images().images)}
    return found


@pytest.mark.parametrize("name", ["astronaut", "coffee", "cat", "sample-0", "sample-1"])
@pytest.mark.parametrize("crop", [1.0, 0.5, 0.25])
def test_no_natural_photograph_passes_for_a_target(name, crop):
    picture = pictures()[name]
    height, width = (int(side * crop) for side in picture.shape[:2])
    assert (
        measure_frame(as_image(picture[:height, :width]), f_number=8, focal_length_mm=50).status == REJECTED
    )


@pytest.mark.parametrize("subject", ["landscape", "sky", "wall"])
@pytest.mark.parametrize("blur", [0.0, 0.04])
def test_no_simulated_scenery_passes_for_a_target_even_out_of_focus(subject, blur):
    """A sky without clouds or a wall lit evenly would: they are plain surfaces."""
    for seed in range(8):
        shot = render_scenery(target(), f_number=8, size=SIZE, seed=seed, subject=subject, blur=blur)
        found = measure_frame(as_linear_image(shot, kind="jpeg"), f_number=8, focal_length_mm=50)
        assert found.status == REJECTED, (subject, blur, seed)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "cat", "sample-1"])
def test_no_natural_photograph_passes_for_a_target_out_of_focus(name):
    codes = gaussian_filter(pictures()[name].astype(float), (12, 12, 0))
    assert measure_frame(as_image(codes.round().astype(int)), f_number=8).status == REJECTED


def test_a_lamp_s_own_patch_of_light_off_the_centre_is_no_hotspot():
    image, _ = photograph(target(patch(0.5, radius=0.2, centre=(0.2, 0.0))))
    assert "off the centre" in refusal_of(image).says


@pytest.mark.parametrize("seed", range(20, 32))
def test_honest_targets_are_judged(seed):
    rng = np.random.default_rng(seed)
    scene = target(
        patch(float(rng.uniform(0.05, 0.8)), shape=str(rng.choice(["gaussian", "disc", "polygon", "ring"]))),
        vignetting_ev=float(rng.uniform(0, 1.5)),
        unevenness_ev=0.004,
        focal_length_mm=float(rng.uniform(24, 100)),
    )
    found, _ = measured(scene, seed=seed, kind="jpeg")
    assert found.status != REJECTED
