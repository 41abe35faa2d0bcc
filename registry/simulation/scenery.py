"""Landscapes, skies and walls before the lens in place of the target: what a contributor must not send, for tests
and the demo.

Infrared darkens the sky and brightens leaves. The ground's brightness is a random field whose power falls with
frequency as 1/f², as that of natural scenes does on average (Field 1987, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.fft import irfft2, rfft2
from scipy.ndimage import gaussian_filter

from registry.simulation.checks import one_of
from registry.simulation.light import light_on
from registry.simulation.render import FIELD_SIDE, Rendered, check_frame, field_grid
from registry.simulation.scene import Scene
from registry.simulation.sensor import expose
from registry.simulation.streams import Streams
from registry.simulation.truth import Truth

_GROUND_EV = 1.0
_SKY_EV = -1.6
_SKY_GRADIENT_EV = 0.8


def one_over_f(shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """A random field of mean 0 and variance 1 whose amplitude falls with frequency as 1/f; shape (rows, columns)."""
    rows, columns = shape
    down = np.fft.fftfreq(rows)[:, None] * rows
    across = np.fft.rfftfreq(columns)[None, :] * columns
    amplitude = 1 / np.maximum(np.hypot(down, across), 1.0)
    amplitude[0, 0] = 0
    field = irfft2(rfft2(rng.standard_normal(shape)) * amplitude, s=shape)
    return field / field.std()


def _landscape_ev(x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Luminance of sky and ground at a grid, in EV about the mean of the ground."""
    shape = (y.size, x.size)
    ground, clouds = one_over_f(shape, rng), one_over_f(shape, rng)
    skyline = rng.uniform(-0.2, 0.15) + 0.06 * one_over_f(shape, rng)[:1]
    sky = _SKY_EV + _SKY_GRADIENT_EV * (y - skyline) + 0.25 * np.maximum(clouds, 0)
    return np.where(y > skyline, _GROUND_EV * ground, sky)


def _sky_ev(x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A sky with clouds, brighter towards the horizon, in EV."""
    clouds = np.maximum(one_over_f((y.size, x.size), rng), 0)
    return rng.uniform(0.2, 0.8) * y + rng.uniform(0.15, 0.5) * clouds


def _wall_ev(x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Plaster lit by a lamp off the frame's centre, in EV."""
    turn, distance, width = rng.uniform(0, 2 * np.pi), rng.uniform(0.3, 0.6), rng.uniform(0.3, 0.6)
    squared = (x - distance * np.cos(turn)) ** 2 + (y - distance * np.sin(turn)) ** 2
    plaster = 0.02 * one_over_f((y.size, x.size), rng)
    return rng.uniform(0.7, 1.5) * np.exp(-squared / width**2) + plaster


_SUBJECTS = {"landscape": _landscape_ev, "sky": _sky_ev, "wall": _wall_ev}


def render_scenery(
    scene: Scene,
    *,
    f_number: float,
    size: tuple[int, int],
    seed: int,
    frame: int = 0,
    subject: str = "landscape",
    blur: float = 0.0,
) -> Rendered:
    """Photograph a landscape, a sky or a wall through the scene's lens, hotspot and all.

    subject: "landscape", "sky" or "wall". blur: standard deviation in half-diagonals of its defocus. Other
    arguments and errors as of render_frame; the truth is empty, for nobody can know it from such a frame.
    """
    check_frame(scene, f_number, size)
    one_of(subject, tuple(_SUBJECTS), "subject")
    streams = Streams(int(seed), int(frame))
    x, y = field_grid(size, FIELD_SIDE)
    light = light_on(scene, f_number, x, y, streams)
    seen = np.exp2(_SUBJECTS[subject](x, y, streams.of("scenery")))
    if blur:
        seen = gaussian_filter(seen, blur * np.hypot(*seen.shape) / 2)
    light = replace(light, clean=light.clean * seen).enlarged(size)
    pixels = light.pixels()
    pixels *= np.float32(scene.level)
    return Rendered(expose(pixels, scene, streams.of("noise")), Truth(), scene, float(f_number))
