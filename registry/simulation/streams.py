"""Where randomness comes from: streams that depend on the seed alone, one for each cause."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_STAYING = {"unevenness": 0, "texture": 1, "dust": 2, "scenery": 4}
_CHANGING = {"noise": 3}


@dataclass(frozen=True)
class Streams:
    """Independent streams of one set-up (its seed) and one frame of it.

    Target and dust stay the same from frame to frame; noise doesn't.
    """

    setting: int
    frame: int = 0

    def of(self, cause: str) -> np.random.Generator:
        """A fresh generator at the start of the stream of "unevenness", "texture", "dust", "scenery" or "noise"."""
        frame = () if cause in _STAYING else (self.frame,)
        number = (_STAYING | _CHANGING)[cause]
        return np.random.Generator(np.random.SFC64(np.random.SeedSequence((number, self.setting, *frame))))
