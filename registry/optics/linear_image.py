"""A photograph as light: what decoding hands to measuring, and nothing else.

It stands in this room because `frames` makes it and `photometry` reads it, and neither may import the other.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class LinearImage:
    """A frame reduced to linear light.

    pixels: float32 array (height, width, 3), linear R, G, B in proportion to luminous exposure, 1.0 at the
        format's white; area-averaged from the full frame, the long side 96 pixels unless it says otherwise,
        upright as shot (orientation applied). Rec. 709 primaries (ITU-R BT.709) where a colour profile says
        how to get there, the camera's own channels for raw.
    width, height: size of the full frame in pixels, upright.
    clipped: share of full-resolution (or decoder-scaled) pixels with any channel at or near white (0–1).
    black: share of pixels with every channel at or near black (0–1).
    median_level: median of the brightest channel as an 8-bit sRGB code value (0–255), whatever the format.
    kind: "jpeg", "png", "tiff", "heic" or "raw".
    linear: True when the values are known to be proportional to light (raw, or a file that says so).
    tone_gain: (low, high) bounds of the local slope d log2(value) / d log2(light) that an unknown tone curve
        may have at this level; (1.0, 1.0) when linear. A measured EV is to be divided by the true slope.
    detail: root-mean-square of the finest structure in log2 units that is seen at the decoder's scale before
        area-averaging but beyond what shot noise explains; helps to tell pictures from targets. None when unknown.
    """

    pixels: np.ndarray
    width: int
    height: int
    clipped: float
    black: float
    median_level: float
    kind: str
    linear: bool
    tone_gain: tuple[float, float] = (1.0, 1.0)
    detail: float | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def luminance(self) -> np.ndarray:
        """Linear luminance Y = .2126 R + .7152 G + .0722 B (ITU-R BT.709), shape (height, width)."""
        return self.pixels @ np.array([0.2126, 0.7152, 0.0722], dtype=self.pixels.dtype)
