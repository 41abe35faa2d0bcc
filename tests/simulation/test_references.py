"""Reference pictures of the eye grades: the excess in the picture's own codes is the grade's."""

import io

import numpy as np
import pytest
from PIL import Image

from registry.errors import InvalidInput
from registry.simulation.files import write_png
from registry.simulation.references import GRADE_EV, reference_picture, reference_png, reference_scene
from registry.simulation.render import render_frame
from registry.simulation.tones import srgb_decode

# The bounds of the eye grades in EV: none, trace, visible, obvious, dominating.
BOUNDS = [(0, 0.05), (0.05, 0.10), (0.10, 0.30), (0.30, 0.70), (0.70, 9)]


@pytest.mark.parametrize("grade", range(5))
def test_a_reference_picture_s_true_excess_is_that_of_its_grade(grade):
    low, high = BOUNDS[grade]
    truth = reference_picture(grade).truth
    assert truth.excess_ev == pytest.approx(GRADE_EV[grade], abs=1e-6)
    assert low < truth.excess_ev < high and low < truth.peak_ev < high


@pytest.mark.parametrize("grade", range(5))
def test_the_excess_can_be_read_off_the_picture_against_one_without_hotspot(grade):
    hot, clean = (
        srgb_decode(np.asarray(Image.open(io.BytesIO(content))) / 255)[_disc()].mean()
        for content in (reference_png(grade), _without_hotspot())
    )
    assert np.log2(hot / clean) == pytest.approx(GRADE_EV[grade], abs=0.004)


def _disc():
    """Which pixels lie within 0.03 half-diagonals of the centre."""
    down, across = np.mgrid[:640, :960]
    return np.hypot(down - 319.5, across - 479.5) < 0.03 * np.hypot(640, 960) / 2


def _without_hotspot():

    return write_png(render_frame(reference_scene(0.0), f_number=8.0, size=(960, 640), seed=9))


def test_reference_pictures_are_always_the_same_and_never_clipped():
    assert reference_png(3) == reference_png(3)
    assert reference_picture(4).pixels.max() < 0.9


def test_a_reference_scene_takes_any_excess():
    assert reference_scene(0.0).patch.strength_ev == 0
    assert reference_scene(0.1).patch.strength_ev == pytest.approx(0.1, rel=0.05)


def test_a_grade_that_does_not_exist_is_refused():
    with pytest.raises(InvalidInput, match="“5” is no grade"):
        reference_picture(5)
