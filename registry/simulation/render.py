"""From a scene to a frame: noiseless fields of light, the truth about them, and the noisy linear pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from PIL import Image

from registry.errors import InvalidInput, Problem
from registry.simulation import target
from registry.simulation.falloff import falloff
from registry.simulation.scene import Scene
from registry.simulation.sensor import expose
from registry.simulation.stray import PatchNow, ghost_light, patch_at, patch_shape
from registry.simulation.truth import LUMINANCE, Truth, sampling_points, truth_from

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


@dataclass(frozen=True)
class _Streams:
    """Independent streams of randomness: what stays through a sweep (target, dust), and the noise."""

    setting: int
    frame: int

    def of(self, name: str) -> np.random.Generator:
        key = {"unevenness": (0, self.setting), "texture": (1, self.setting), "dust": (2, self.setting)}.get(
            name, (3, self.setting, self.frame)
        )
        return np.random.Generator(np.random.SFC64(np.random.SeedSequence(key)))


@lru_cache(maxsize=8)
def frame_axes(width: int, height: int, columns: int, rows: int) -> tuple[np.ndarray, np.ndarray]:
    """Positions, in half-diagonals, of the centres of a grid of columns × rows cells over the frame.

    Returns x of shape (1, columns) and y of shape (rows, 1).
    """
    diagonal = math.hypot(width, height)
    x = ((np.arange(columns) + 0.5) / columns * 2 - 1) * width / diagonal
    y = ((np.arange(rows) + 0.5) / rows * 2 - 1) * height / diagonal
    return x[None, :], y[:, None]


def _clean_light(
    scene: Scene, f_number: float, x: np.ndarray, y: np.ndarray, streams: _Streams
) -> np.ndarray:
    """Light of the smooth target through a lens without hotspot, 1 on axis before an even target."""
    light = falloff(scene, f_number, np.hypot(x - scene.axis[0], y - scene.axis[1]))
    if scene.tilt_ev or scene.unevenness_ev:
        uneven = target.light_tilt(scene, x, y)
        if scene.unevenness_ev:
            uneven = uneven + target.unevenness(scene, x, y, streams.of("unevenness"))
        light = light * np.exp2(uneven)
    if scene.ghosts:
        light = light + ghost_light(scene.ghosts, x, y)
    return light


def _cast(scene: Scene) -> np.ndarray:
    """Channel factors of the frame's cast, of luminance 1."""
    channels = np.exp2([scene.cast_rg, 0.0, scene.cast_bg])
    return channels / (channels @ LUMINANCE)


def _patch_light(scene: Scene, now: PatchNow) -> np.ndarray:
    """R, G, B that the patch adds at its centre so that excess and tint are as nominal over light of 1."""
    cast = _cast(scene)
    tints = np.exp2([now.tint_rg, 0.0, now.tint_bg])
    gain = tints * 2.0**now.strength_ev / (cast @ (LUMINANCE * tints))
    return cast * (gain - 1.0)


@dataclass(frozen=True)
class _Light:
    """Noiseless light on some points: R, G, B is light × cast × 2^(r² shading) + patch × added."""

    light: np.ndarray
    patch: np.ndarray | None
    squared_radius: np.ndarray | None
    cast: np.ndarray
    shading: np.ndarray
    added: np.ndarray

    def channel(self, index: int, *, with_patch: bool = True) -> np.ndarray:
        """One channel of R, G, B in the shape of `light`."""
        values = self.light * self.light.dtype.type(self.cast[index])
        if self.squared_radius is not None and self.shading[index]:
            values *= np.exp2(self.squared_radius * self.light.dtype.type(self.shading[index]))
        if with_patch and self.patch is not None:
            values += self.patch * self.light.dtype.type(self.added[index])
        return values

    def enlarged(self, size: tuple[int, int]) -> _Light:
        """The same light on the frame's own pixels, in float32."""
        light, patch, squared = (
            None if field is None else _resize(field, size)
            for field in (self.light, self.patch, self.squared_radius)
        )
        return replace(self, light=light, patch=patch, squared_radius=squared)


def _light_at(scene: Scene, f_number: float, x: np.ndarray, y: np.ndarray, clean: np.ndarray) -> _Light:
    cast, shading, shape, added = (
        _cast(scene),
        np.array([scene.shading_rg, 0.0, scene.shading_bg]),
        None,
        np.zeros(3),
    )
    if scene.patch is not None:
        now = patch_at(scene.patch, f_number, scene.cut_on_nm)
        shape, added = patch_shape(scene.patch, now, x, y), _patch_light(scene, now)
    squared = x**2 + y**2 if shading.any() else None
    return _Light(clean, shape, squared, cast, shading, added)


def _truth(scene: Scene, f_number: float, size: tuple[int, int], streams: _Streams) -> Truth:
    if scene.patch is None:
        return Truth()
    now = patch_at(scene.patch, f_number, scene.cut_on_nm)
    wide = scene.patch.skirt_reach if scene.patch.shape == "skirted" else 1.0
    reach = min(max(2.5 * now.radius * max(wide, 1.0), 0.1), 1.2)
    radii, angles = sampling_points(reach)
    x = scene.patch.centre[0] + radii * np.cos(angles)
    y = scene.patch.centre[1] + radii * np.sin(angles)
    diagonal = math.hypot(*size)
    inside = (np.abs(x) <= size[0] / diagonal) & (np.abs(y) <= size[1] / diagonal)
    light = _light_at(scene, f_number, x, y, _clean_light(scene, f_number, x, y, streams))
    without = np.stack([light.channel(index, with_patch=False) for index in range(3)], axis=-1)
    hot = np.stack([light.channel(index) for index in range(3)], axis=-1)
    return truth_from(without, hot, inside, reach, scene.patch.centre)


def _noiseless(scene: Scene, f_number: float, size: tuple[int, int], streams: _Streams) -> np.ndarray:
    """Noiseless linear R, G, B of the frame, luminance 1 on axis of a clean even frame; float32."""
    width, height = size
    shrink = min(1.0, FIELD_SIDE / max(size))
    columns, rows = max(1, round(width * shrink)), max(1, round(height * shrink))
    x, y = frame_axes(width, height, columns, rows)
    clean = _clean_light(scene, f_number, x, y, streams)
    if scene.texture_ev:
        clean = clean * np.exp2(target.texture(scene, (rows, columns), streams.of("texture")))
    if scene.dust_specks:
        clean = clean * np.exp2(target.dust(scene, f_number, x, y, streams.of("dust")))
    light = _light_at(scene, f_number, x, y, clean).enlarged(size)
    pixels = np.empty((height, width, 3), dtype=np.float32)
    for index in range(3):
        pixels[..., index] = light.channel(index)
    return pixels


def _resize(field: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    field = np.ascontiguousarray(field, dtype=np.float32)
    if field.shape[::-1] == size:
        return field
    return np.asarray(Image.fromarray(field).resize(size, Image.Resampling.BICUBIC))


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

    size: (width, height) in pixels. seed: fixes target, dust and noise. frame: number of the shot within its
    set-up; another number draws other noise before the same target. exposure_ev: more light than the scene's
    level. Raises InvalidInput when the f-number is wider than the lens or the size is empty.
    """
    _check(scene, f_number, size)
    streams = _Streams(int(seed), int(frame))
    light = _noiseless(scene, f_number, size, streams)
    light *= np.float32(scene.level * 2.0**exposure_ev)
    pixels = expose(light, scene, streams.of("noise"))
    return Rendered(pixels, _truth(scene, f_number, size, streams), scene, float(f_number), exposure_ev)


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


def _check(scene: Scene, f_number: float, size: tuple[int, int]) -> None:
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
