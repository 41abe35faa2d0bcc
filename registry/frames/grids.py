"""Full frames of coded pixels, brought to light on the grid that is kept."""

from __future__ import annotations

import numpy as np

from registry.frames.averaging import block_mean
from registry.frames.encoding import Encoding
from registry.frames.frame import LightGrid, shares_at_ends, upright

KEPT_LONG_SIDE = 1500
_STRIP_PIXELS = 300_000


def block_size(width: int, height: int, step: int = 1) -> int:
    """Side of the pixel blocks, a multiple of step, that bring the long side to at most 1500."""
    return step * max(1, -(-max(width, height) // (KEPT_LONG_SIDE * step)))


def coded_light(codes: np.ndarray, encoding: Encoding, *, kind: str, orientation: int) -> LightGrid:
    """Light of a full frame of integer codes (height, width) or (height, width, 1 or 3), in strips.

    Means are taken of light, never of codes.
    """
    if codes.ndim == 2:
        codes = codes[..., None]
    height, width = codes.shape[:2]
    size = block_size(width, height)
    rows = max(size, _STRIP_PIXELS // width // size * size)
    top = (height - height // size * size) // 2
    strips, clipped, black = [], 0.0, 0.0
    for start in range(top, top + height // size * size, rows):
        stop = min(start + rows, top + height // size * size)
        strip = np.broadcast_to(codes[start:stop], (stop - start, width, 3))
        at_ends = shares_at_ends(strip)
        clipped += at_ends[0] * len(strip)
        black += at_ends[1] * len(strip)
        strips.append(block_mean(encoding.lookup(strip), size))
    values = upright(np.concatenate(strips), orientation)
    turned = orientation >= 5
    used = height // size * size
    return LightGrid(
        values=values,
        width=height if turned else width,
        height=width if turned else height,
        clipped=clipped / used,
        black=black / used,
        kind=kind,
        linear=encoding.linear,
        matrix=encoding.matrix,
        notes=encoding.notes,
    )
