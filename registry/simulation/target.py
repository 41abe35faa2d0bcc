"""The evenly lit plain target, as even and as plain as a real one: tilt, smooth unevenness, texture, dust."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter

from registry.simulation.scene import Scene

_ORDERS = [(i, j) for i in range(4) for j in range(4) if 1 <= i + j <= 3]


def light_tilt(scene: Scene, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Uneven light at x, y in EV: a plane."""
    turn = np.radians(scene.tilt_direction_deg)
    return scene.tilt_ev * (np.cos(turn) * x + np.sin(turn) * y)


def unevenness(scene: Scene, x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The target's smooth unevenness at x, y in EV: cosines of order 1 to 3 of random size and phase.

    The draw depends on the generator only, so the same target can be looked up on any set of points.
    """
    weights = rng.standard_normal(len(_ORDERS)) / np.array([(i + j) ** 2 for i, j in _ORDERS])
    phases = rng.uniform(0, 2 * np.pi, (len(_ORDERS), 2))
    expected = np.sqrt(sum((1 if i * j == 0 else 0.5) / (2 * (i + j) ** 4) for i, j in _ORDERS))
    field = np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y)))
    for (i, j), weight, (across, down) in zip(_ORDERS, weights, phases, strict=True):
        columns = np.cos(np.pi * i * x / 1.2 + across) if i else 1.0
        rows = np.cos(np.pi * j * y / 1.2 + down) if j else 1.0
        field += weight * columns * rows
    return scene.unevenness_ev / expected * field


def texture(scene: Scene, shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """The target's grain in EV as an array of `shape` (height, width)."""
    grain = gaussian_filter(
        rng.standard_normal(shape), scene.texture_scale * np.hypot(*shape) / 2, mode="wrap", truncate=3.0
    )
    return scene.texture_ev * grain / grain.std()


def dust(scene: Scene, f_number: float, x: np.ndarray, y: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Loss under the specks on the sensor's glass in EV (negative or zero).

    A speck's shadow is the cone of light cut some way ahead of the sensor: its radius grows as 1/N and its
    depth falls as the area does, beside the speck's own size.
    """
    loss = np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y)))
    for _ in range(scene.dust_specks):
        across, down = rng.uniform(-0.8, 0.8), rng.uniform(-0.55, 0.55)
        own, depth = rng.uniform(0.004, 0.012), scene.dust_depth_ev * rng.uniform(0.3, 1.0)
        blurred = np.hypot(own, 0.16 / f_number)
        depth *= (np.hypot(own, 0.01) / blurred) ** 2
        loss -= depth * np.exp2(-(((x - across) ** 2 + (y - down) ** 2) / blurred**2))
    return loss
