"""Copies of a frame are known by its grain; other frames of the same target are not taken for copies."""

from __future__ import annotations

import io
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from registry.frames.intake import take_in
from registry.frames.residual import LIKELY_COPY, likenesses, residual_of


def shot(make, seed: int) -> Image.Image:
    """One of several shots of the same target with the same lens: only the noise differs."""
    light = make.target(1500, 1000, excess_ev=0.2)
    noise = np.random.default_rng(seed).standard_normal((1000, 1500, 1))
    return Image.fromarray(make.codes(light + 0.02 * np.sqrt(light) * noise))


def copied(image: Image.Image, **options) -> Image.Image:
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", **options)
    return Image.open(buffer)


def likeness(first: bytes, second: bytes) -> float:
    return float(likenesses([first], [second])[0, 0])


def residual(image: Image.Image) -> bytes:
    return residual_of(np.asarray(image))


@pytest.mark.parametrize("quality", [75, 85, 95])
def test_a_copy_compressed_again_is_found(quality, make):
    original = copied(shot(make, 1), quality=92)
    assert likeness(residual(original), residual(copied(original, quality=quality))) > 2 * LIKELY_COPY


def test_a_brightened_copy_is_found(make):
    original = copied(shot(make, 1), quality=92)
    brighter = copied(original.point(lambda code: min(255, code * 5 // 4)), quality=88)
    assert likeness(residual(original), residual(brighter)) > 2 * LIKELY_COPY


def test_shots_of_one_target_are_not_taken_for_copies(make):
    residuals = [residual(copied(shot(make, seed), quality=92)) for seed in range(5)]
    assert max(abs(likeness(*pair)) for pair in combinations(residuals, 2)) < LIKELY_COPY / 2


def test_a_frame_without_grain_resembles_nothing(make, put, room):
    flat = Image.new("RGB", (600, 400), (90, 90, 90))
    assert residual(flat) == b""
    assert likeness(b"", b"") == 0
    assert residual_of(np.zeros((40, 60, 3), dtype=np.uint8)) == b""


def test_taking_a_frame_in_yields_its_residual(make, put, room):
    buffer = io.BytesIO()
    shot(make, 3).save(buffer, "JPEG", quality=92)
    taken = take_in(put(buffer.getvalue()), working_directory=room)
    assert likeness(taken.residual, residual(Image.open(buffer))) == pytest.approx(1)
