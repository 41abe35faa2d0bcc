"""What a sensor makes of light: counted electrons with shot and read noise, and a full well."""

from __future__ import annotations

import numpy as np

from registry.simulation.scene import Scene

_FEW_ELECTRONS = 60.0
_PIXELS_AT_ONCE = 1 << 17  # stays in the processor's cache


def bell_numbers(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Float32 random numbers of mean 0 and variance 1, near enough normal and several times faster to draw.

    Each is the number of ones among 64 fair bits: binomial of mean 32 and variance 16 exactly, skewness 0,
    excess kurtosis −1/32. Sums over a few pixels can't be told from a normal law.
    """
    bits = rng.integers(0, np.iinfo(np.uint64).max, size=shape, dtype=np.uint64, endpoint=True)
    numbers = np.bitwise_count(bits).astype(np.float32)
    numbers -= 32.0
    numbers *= 0.25
    return numbers


def expose(light: np.ndarray, scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """Noisy linear pixels, clipped to 0–1, from noiseless float32 ones (height, width, 3); works in place.

    Shot noise is Poisson: exact where fewer than 60 electrons are expected, and its normal limit elsewhere.
    """
    well = np.float32(scene.full_well_electrons)
    if well > 0:
        read = np.float32(scene.read_noise_electrons)
        step = max(1, _PIXELS_AT_ONCE // (light.shape[1] * light.shape[2]))
        for top in range(0, light.shape[0], step):
            rows = light[top : top + step]
            electrons = rows * well
            spread = np.sqrt(np.maximum(electrons, 0) + read * read)
            noise = bell_numbers(rng, rows.shape)
            if electrons.min() < _FEW_ELECTRONS:
                _count_few(electrons, spread, read, rng)
            noise *= spread
            noise += electrons
            np.multiply(noise, 1 / well, out=rows)
    return np.clip(light, 0.0, 1.0, out=light)


def _count_few(electrons: np.ndarray, spread: np.ndarray, read: float, rng: np.random.Generator) -> None:
    """Where light is scarce count electrons exactly, and leave only the read noise to the normal law."""
    few = electrons < _FEW_ELECTRONS
    electrons[few] = rng.poisson(np.maximum(electrons[few], 0))
    spread[few] = read
