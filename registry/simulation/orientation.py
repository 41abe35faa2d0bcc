"""How a camera that was held on its side stores an upright picture."""

from __future__ import annotations

import numpy as np

from registry.simulation.checks import one_of

_QUARTER_TURNS = {1: 0, 3: 2, 6: 1, 8: 3}


def turned(upright: np.ndarray, orientation: int) -> np.ndarray:
    """The picture (height, width, …) as stored, so that readers who apply the EXIF orientation see it upright.

    Raises InvalidInput for anything but 1, 3, 6 and 8: cameras don't mirror.
    """
    one_of(orientation, tuple(_QUARTER_TURNS), "orientation")
    return np.ascontiguousarray(np.rot90(upright, _QUARTER_TURNS[orientation]))
