"""A decoded frame on its way to light: the one shape that every format's reader hands over."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from registry.frames.averaging import area_average, fine_detail
from registry.frames.encoding import linear_to_srgb, mix
from registry.frames.tone import tone_of
from registry.optics.linear_image import LinearImage

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709


@dataclass(frozen=True)
class LightGrid:
    """A frame's light at the scale its decoder gives cheaply.

    values: float32 (height, width, 3), linear in the file's own channels, 1.0 at white, upright.
    matrix: (3, 3) from those channels to Rec. 709, or None.
    width, height: of the full frame, upright.
    clipped, black: shares as in LinearImage.
    kind, linear, notes: as in LinearImage; by_camera: whether an unknown camera's tone curve is in it.
    balance: gains of R, G, B for a picture to look at; measuring leaves it out.
    """

    values: np.ndarray
    width: int
    height: int
    clipped: float
    black: float
    kind: str
    linear: bool
    by_camera: bool = False
    matrix: np.ndarray | None = None
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    notes: tuple[str, ...] = field(default=())

    def to_linear_image(self) -> LinearImage:
        """What measuring reads: the area average, and what the finer grid tells beside it."""
        averaged = area_average(self.values)
        if self.matrix is not None:
            averaged = mix(averaged, self.matrix)
        weights = _LUMINANCE if self.matrix is None else _LUMINANCE @ self.matrix
        level = float(np.median(averaged.reshape(-1, 3), axis=0).max())
        tone_gain, tone_note = tone_of(level, linear=self.linear, by_camera=self.by_camera)
        return LinearImage(
            pixels=np.ascontiguousarray(averaged, dtype=np.float32),
            width=self.width,
            height=self.height,
            clipped=self.clipped,
            black=self.black,
            median_level=float(255 * linear_to_srgb(np.array(level))),
            kind=self.kind,
            linear=self.linear,
            tone_gain=tone_gain,
            detail=fine_detail(mix(self.values, weights[None])[..., 0]),
            notes=(*self.notes, *([tone_note] if tone_note else [])),
        )


def upright(array: np.ndarray, orientation: int) -> np.ndarray:
    """Turn an array (height, width, ...) as the EXIF orientation (1–8) asks (Exif 2.32, tag 274)."""
    if orientation in (5, 6, 7, 8):
        array = array.swapaxes(0, 1)
    if orientation in (2, 3, 6, 7):
        array = array[:, ::-1]
    if orientation in (3, 4, 7, 8):
        array = array[::-1]
    return array


def shares_at_ends(codes: np.ndarray) -> tuple[float, float]:
    """Shares of pixels of integer codes (height, width, 3) with any channel clipped, and with all black.

    Clipped is code 253 of 255 and up, black code 2 and down, whatever the depth.
    """
    step = np.iinfo(codes.dtype).max // 255
    white, black = 253 * step, 2 * step
    if codes.max() < white and codes.min() > black:
        return 0.0, 0.0  # as in most frames; this look costs a tenth of the next
    brightest = np.maximum(np.maximum(codes[..., 0], codes[..., 1]), codes[..., 2])
    return float(np.mean(brightest >= white)), float(np.mean(brightest <= black))
