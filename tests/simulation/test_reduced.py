"""The short way to a reduced linear image, against the long one through files and an independent decoder."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from registry.errors import InvalidInput
from registry.simulation.files import write_png
from registry.simulation.reduced import area_average, as_linear_image
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene
from registry.simulation.tones import srgb_decode

SCENE = Scene(patch=Patch(strength_ev=0.3, tint_rg=0.05), vignetting_ev=0.5)
FRAME = render_frame(SCENE, f_number=8.0, size=(960, 640), seed=1)


def test_it_is_what_a_lossless_file_decodes_to():
    codes = np.asarray(Image.open(io.BytesIO(write_png(FRAME))))
    by_hand = srgb_decode(codes / 255).reshape(64, 10, 96, 10, 3).mean(axis=(1, 3))
    image = as_linear_image(FRAME, kind="png")
    assert image.pixels == pytest.approx(by_hand, rel=1e-5)
    assert (image.width, image.height) == (960, 640)
    assert image.median_level == pytest.approx(np.median(codes.max(axis=-1)), abs=1e-4)


@pytest.mark.parametrize(("kind", "ev"), [("jpeg", 5e-3), ("png", 5e-3), ("tiff", 1e-4), ("raw", 1e-4)])
def test_every_kind_keeps_the_light_within_its_depth(kind, ev):
    image = as_linear_image(FRAME, kind=kind)
    truth = area_average(FRAME.pixels)
    assert image.pixels.shape == (64, 96, 3)
    assert np.abs(np.log2(image.pixels / truth)).max() < ev
    assert image.linear == (kind == "raw")


def test_averaging_cells_that_cut_pixels_keeps_the_mean():
    pixels = np.random.default_rng(1).random((67, 100, 3), dtype=np.float32)
    averaged = area_average(pixels)
    assert averaged.shape == (64, 96, 3)
    assert averaged.mean() == pytest.approx(pixels.mean(), rel=1e-3)


def test_a_camera_curve_misleads_a_reader_who_takes_it_for_srgb():
    plain, curved = (as_linear_image(FRAME, tone=tone).luminance for tone in ("srgb", "camera"))
    contrast = [np.log2(light[32, 48] / light[32, 4]) for light in (plain, curved)]
    assert contrast[1] > 1.15 * contrast[0]


def test_shares_of_white_and_black_pixels_are_counted():
    bright = render_frame(replace(SCENE, level=1.0), f_number=8.0, size=(96, 64), seed=1)
    dark = render_frame(replace(SCENE, level=2e-4), f_number=8.0, size=(96, 64), seed=1)
    assert as_linear_image(bright).clipped > 0.1
    assert as_linear_image(dark).black > 0.9
    assert as_linear_image(FRAME).clipped == as_linear_image(FRAME).black == 0


def test_an_unknown_kind_is_refused():
    with pytest.raises(InvalidInput, match="bmp"):
        as_linear_image(FRAME, kind="bmp")
