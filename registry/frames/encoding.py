"""From code values to linear light: the sRGB curve, other curves, and colour matrices.

sRGB transfer function: IEC 61966-2-1:1999. Rec. 709 primaries: ITU-R BT.709. Working in tables: a frame has
millions of pixels but at most 65,536 codes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

Curve = Callable[[np.ndarray], np.ndarray]


def srgb_to_linear(encoded: np.ndarray) -> np.ndarray:
    """Linear light (0–1) of sRGB values (0–1), any shape; IEC 61966-2-1."""
    encoded = np.asarray(encoded, dtype=np.float64)
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: np.ndarray) -> np.ndarray:
    """sRGB values (0–1) of linear light, clipped to 0–1, any shape; IEC 61966-2-1."""
    linear = np.clip(np.asarray(linear, dtype=np.float64), 0, 1)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def power_curve(exponent: float) -> Curve:
    """The curve linear = encoded ** exponent."""
    return lambda encoded: np.asarray(encoded, dtype=np.float64) ** exponent


def mix(channels: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Channels (..., 3) through a matrix (n, 3), giving (..., n).

    Written out, because a matrix product's last bit may differ between two runs on the same pixels.
    """
    parts = [channels[..., index] for index in range(3)]
    weights = matrix.astype(channels.dtype)
    return np.stack([row[0] * parts[0] + row[1] * parts[1] + row[2] * parts[2] for row in weights], axis=-1)


@dataclass(frozen=True)
class Encoding:
    """How a file's code values stand for light.

    curves: one curve for each of R, G and B, from codes scaled to 0–1 to linear light 0–1.
    matrix: (3, 3) from the file's linear channels to Rec. 709, or None where they are Rec. 709 already.
    linear: whether the file says that its values are proportional to light.
    notes: what had to be assumed.
    """

    curves: tuple[Curve, Curve, Curve] = (srgb_to_linear, srgb_to_linear, srgb_to_linear)
    matrix: np.ndarray | None = None
    linear: bool = False
    notes: tuple[str, ...] = field(default=())

    def table(self, dtype: np.dtype) -> np.ndarray:
        """Linear light of every code: float32, shape (codes, 3), or (codes,) where all channels agree."""
        codes = np.arange(np.iinfo(dtype).max + 1) / np.iinfo(dtype).max
        if self.curves[0] is self.curves[1] is self.curves[2]:
            return self.curves[0](codes).astype(np.float32)
        return np.stack([curve(codes) for curve in self.curves], axis=1).astype(np.float32)

    def lookup(self, codes: np.ndarray) -> np.ndarray:
        """Linear light of integer codes (..., 3) in the file's own channels, float32."""
        table = self.table(codes.dtype)
        if table.ndim == 1:
            return table.take(codes)
        return np.stack([table[:, channel].take(codes[..., channel]) for channel in range(3)], axis=-1)

    def to_rec709(self, linear: np.ndarray) -> np.ndarray:
        """Linear Rec. 709 of linear values (..., 3) in the file's own channels."""
        if self.matrix is None:
            return linear
        return mix(linear, self.matrix)


SRGB = Encoding()
