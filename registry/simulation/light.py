"""Noiseless light on the sensor: what the target and the lens send, and what the hotspot adds to it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from PIL import Image

from registry.simulation import target
from registry.simulation.falloff import falloff
from registry.simulation.scene import Scene
from registry.simulation.stray import PatchNow, ghost_light, patch_at, patch_shape
from registry.simulation.streams import Streams
from registry.simulation.truth import LUMINANCE


@dataclass(frozen=True)
class Light:
    """Light on some points: R, G, B is clean × cast × 2^(r² shading) + patch × added.

    clean: array of any shape, 1 on axis of an even target; patch, squared_radius: same shape, or None where
    there is none to add. cast, shading, added: one number for each channel.
    """

    clean: np.ndarray
    patch: np.ndarray | None
    squared_radius: np.ndarray | None
    cast: np.ndarray
    shading: np.ndarray
    added: np.ndarray

    def channel(self, index: int, *, with_patch: bool = True) -> np.ndarray:
        """One channel of R, G, B, in the shape of `clean`."""
        kind = self.clean.dtype.type
        values = self.clean * kind(self.cast[index])
        if self.squared_radius is not None and self.shading[index]:
            values *= np.exp2(self.squared_radius * kind(self.shading[index]))
        if with_patch and self.patch is not None:
            values += self.patch * kind(self.added[index])
        return values

    def pixels(self, *, with_patch: bool = True) -> np.ndarray:
        """R, G, B in an array of the shape of `clean` and one more axis of 3."""
        values = np.empty((*self.clean.shape, 3), dtype=self.clean.dtype)
        for index in range(3):
            values[..., index] = self.channel(index, with_patch=with_patch)
        return values

    def enlarged(self, size: tuple[int, int]) -> Light:
        """The same light on a frame of size (width, height), in float32, by bicubic interpolation."""
        clean, patch = self.clean, self.patch
        if patch is not None and self.squared_radius is None and np.ptp(self.added / self.cast) < 1e-12:
            # A patch of the frame's own colour is one more part of the clean light: one field to enlarge.
            clean, patch = clean + patch * (self.added[1] / self.cast[1]), None
        clean, patch, squared = (
            None if field is None else _resize(field, size) for field in (clean, patch, self.squared_radius)
        )
        return replace(self, clean=clean, patch=patch, squared_radius=squared)


def _resize(field: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    field = np.ascontiguousarray(field, dtype=np.float32)
    if field.shape[::-1] == size:
        return field
    return np.asarray(Image.fromarray(field).resize(size, Image.Resampling.BICUBIC))


def light_on(scene: Scene, f_number: float, x: np.ndarray, y: np.ndarray, streams: Streams) -> Light:
    """Light at x, y (half-diagonals, broadcastable) but for what is finer than the definition of the truth.

    Texture and dust need a grid: add them with `with_grain`.
    """
    shading = np.array([scene.shading_rg, 0.0, scene.shading_bg])
    light = Light(
        clean=_clean_light(scene, f_number, x, y, streams),
        patch=None,
        squared_radius=x**2 + y**2 if shading.any() else None,
        cast=_cast(scene),
        shading=shading,
        added=np.zeros(3),
    )
    if scene.patch is None:
        return light
    now = patch_at(scene.patch, f_number, scene.cut_on_nm)
    return replace(light, patch=patch_shape(scene.patch, now, x, y), added=_patch_light(scene, now))


def with_grain(
    light: Light, scene: Scene, f_number: float, x: np.ndarray, y: np.ndarray, streams: Streams
) -> Light:
    """The light on a grid (x across, y down) with the target's texture and the sensor's dust."""
    clean = light.clean
    if scene.texture_ev:
        clean = clean * np.exp2(target.texture(scene, clean.shape, streams.of("texture")))
    if scene.dust_specks:
        clean = clean * np.exp2(target.dust(scene, f_number, x, y, streams.of("dust")))
    return replace(light, clean=clean)


def _clean_light(scene: Scene, f_number: float, x: np.ndarray, y: np.ndarray, streams: Streams) -> np.ndarray:
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
