"""From a scene to a frame: noiseless light, the truth about it, and the noisy linear pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from registry.errors import InvalidInput, Problem
from registry.simulation.falloff import image_circle_radius
from registry.simulation.light import light_on, with_grain
from registry.simulation.scene import Scene
from registry.simulation.sensor import expose
from registry.simulation.stray import patch_at
from registry.simulation.streams import Streams
from registry.simulation.truth import Truth, sampling_points, truth_from

FIELD_SIDE = 384
"""Fields of light are smooth: they are computed on a grid of this long side at most, then enlarged."""


@dataclass(frozen=True)
class Rendered:
    """One simulated frame.

    pixels: float32 (height, width, 3), linear R, G, B, 1.0 the sensor's full well.
    truth: what a perfect measurement would find.
    """

    pixels: np.ndarray
    truth: Truth
    scene: Scene
    f_number: float
    exposure_ev: float = 0.0


@lru_cache(maxsize=8)
def frame_axes(width: int, height: int, columns: int, rows: int) -> tuple[np.ndarray, np.ndarray]:
    """Positions, in half-diagonals, of the centres of a grid of columns × rows cells over the frame.

    Returns x of shape (1, columns) and y of shape (rows, 1).
    """
    diagonal = math.hypot(width, height)
    x = ((np.arange(columns) + 0.5) / columns * 2 - 1) * width / diagonal
    y = ((np.arange(rows) + 0.5) / rows * 2 - 1) * height / diagonal
    return x[None, :], y[:, None]


def field_grid(size: tuple[int, int], longest: int) -> tuple[np.ndarray, np.ndarray]:
    """frame_axes of the grid over a frame of size (width, height) whose long side has `longest` cells at most."""
    shrink = min(1.0, longest / max(size))
    return frame_axes(*size, *(max(1, round(side * shrink)) for side in size))


def true_hotspot(scene: Scene, *, f_number: float, size: tuple[int, int], seed: int = 0) -> Truth:
    """The truth about the frame that render_frame would render, without rendering it.

    size: (width, height) in pixels; only its proportions matter.
    """
    if scene.patch is None:
        return Truth()
    streams = Streams(int(seed))
    now = patch_at(scene.patch, f_number, scene.cut_on_nm)
    wide = scene.patch.skirt_reach if scene.patch.shape == "skirted" else 1.0
    reach = min(max(2.5 * now.radius * max(wide, 1.0), 0.1), 1.2)
    radii, angles = sampling_points(reach)
    x = scene.patch.centre[0] + radii * np.cos(angles)
    y = scene.patch.centre[1] + radii * np.sin(angles)
    diagonal = math.hypot(*size)
    inside = (
        (np.abs(x) <= size[0] / diagonal)
        & (np.abs(y) <= size[1] / diagonal)
        & (np.hypot(x, y) <= image_circle_radius(scene) - 0.03)
    )
    light = light_on(scene, f_number, x, y, streams)
    without = light.pixels(with_patch=False)
    return truth_from(without, light.pixels(), inside, reach, scene.patch.centre)


def _noiseless(scene: Scene, f_number: float, size: tuple[int, int], streams: Streams) -> np.ndarray:
    """Noiseless linear R, G, B of the frame, luminance 1 on axis of a clean even frame; float32."""
    x, y = field_grid(size, FIELD_SIDE)
    light = light_on(scene, f_number, x, y, streams)
    return with_grain(light, scene, f_number, x, y, streams).enlarged(size).pixels()


def render_frame(
    scene: Scene,
    *,
    f_number: float,
    size: tuple[int, int],
    seed: int,
    frame: int = 0,
    exposure_ev: float = 0.0,
) -> Rendered:
    """Photograph the scene once.

    size: (width, height) in pixels. seed: fixes target, dust and noise; not negative. frame: number of the shot
    within its set-up; another number draws other noise before the same target. exposure_ev: more light than the
    scene's level. Raises InvalidInput when the f-number is wider than the lens or the size is empty.
    """
    check_frame(scene, f_number, size)
    streams = Streams(int(seed), int(frame))
    light = _noiseless(scene, f_number, size, streams)
    light *= np.float32(scene.level * 2.0**exposure_ev)
    pixels = expose(light, scene, streams.of("noise"))
    return Rendered(
        pixels,
        true_hotspot(scene, f_number=f_number, size=size, seed=seed),
        scene,
        float(f_number),
        exposure_ev,
    )


def render_sweep(
    scene: Scene, f_numbers: Sequence[float], *, size: tuple[int, int], seed: int
) -> list[Rendered]:
    """Photograph the scene once at each f-number, before one target, exposure drifting by drift_ev."""
    drift = np.random.default_rng(np.random.SeedSequence((4, int(seed)))).standard_normal(len(f_numbers))
    return [
        render_frame(
            scene,
            f_number=f_number,
            size=size,
            seed=seed,
            frame=index,
            exposure_ev=float(scene.drift_ev * drift[index]),
        )
        for index, f_number in enumerate(f_numbers)
    ]


def check_frame(scene: Scene, f_number: float, size: tuple[int, int]) -> None:
    """Raise InvalidInput when no frame of this size at this f-number can be had of the scene."""
    if not (math.isfinite(f_number) and f_number >= scene.widest * 0.98):
        raise InvalidInput(
            Problem(
                code="wider-than-the-lens",
                field="f_number",
                value=f_number,
                says=f"f/{f_number:g} is wider than this lens's widest aperture, f/{scene.widest:g}.",
                remedy=f"Render at f/{scene.widest:g} or narrower, or give the scene a wider lens.",
            )
        )
    if min(size) < 8:
        raise InvalidInput(
            Problem(
                code="frame-too-small",
                field="size",
                value=size,
                says=f"A frame of {size[0]} × {size[1]} pixels is too small to hold a picture.",
                remedy="Ask for at least 8 × 8 pixels.",
            )
        )
