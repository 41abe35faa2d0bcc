"""What is believed of a lens before its first report: learned from the catalogue, versioned, JSON-safe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import ndtr

from registry.consensus.constants import (
    CAUSE_ODDS,
    CAUSE_SHIFT_SPREAD,
    CAUSE_SHIFTS,
    CELL_SPREAD_AV,
    EARLIER_SPREADS,
    EXCESS_EXPONENT,
    EXCESS_EXPONENT_SPREAD,
    LIMIT_MEAN_AV,
    LIMIT_SPREAD_AV,
    LIMIT_UNIFORM_SHARE,
    METHOD_VERSION,
    SPREAD_LOG_SD,
    SPREAD_MEDIAN,
    SPREADS,
    VISIBLE_EV,
)
from registry.consensus.grid import EDGES, GRID_POINTS, kernel

SHIFTS = np.array([-shift for shift in reversed(CAUSE_SHIFTS)] + list(CAUSE_SHIFTS))
"""Shifts (stops) that a cause is tried with, ascending, shape (shifts,)."""

_NORMAL = np.exp(-0.5 * (SHIFTS / CAUSE_SHIFT_SPREAD) ** 2)
BASE_EFFECT = tuple((_NORMAL / _NORMAL.sum()).tolist())
"""Their probabilities, given that a cause splits the reports, before any catalogue."""


def normal_limits(mean: float, sd: float) -> np.ndarray:
    """A normal distribution (Av) on the grid, (G,)."""
    mass = np.diff(ndtr((EDGES - mean) / sd))
    return mass / mass.sum()


def log_normal_spreads(median: float, log_sd: float) -> np.ndarray:
    """A log-normal distribution on SPREADS, which lie evenly on its scale, (spreads,)."""
    density = np.exp(-0.5 * (np.log(np.array(SPREADS) / median) / log_sd) ** 2)
    return density / density.sum()


def _base_limits() -> tuple[float, ...]:
    normal = normal_limits(LIMIT_MEAN_AV, LIMIT_SPREAD_AV)
    limits = (1 - LIMIT_UNIFORM_SHARE) * normal + LIMIT_UNIFORM_SHARE / GRID_POINTS
    return tuple(limits.tolist())


def _base_spreads() -> tuple[float, ...]:
    return tuple(log_normal_spreads(SPREAD_MEDIAN, SPREAD_LOG_SD).tolist())


@dataclass(frozen=True)
class Priors:
    """Distribution of lenses' clean limits on the grid, of the spread between tests, and the bands' offsets.

    limits: probabilities on the grid, for the threshold visible_ev (EV). spreads: weights of SPREADS.
    offsets: how much later (stops, positive) or earlier a band's limit comes than the lens's own.
    cell_spread: standard deviation, in stops, of a lens's limits between its cells.
    causes: probability, per factor, that it splits a lens's reports. effects: per factor, probabilities of SHIFTS
    given that it does, where a catalogue has taught any. levels: per factor and level (a body, a position), how
    many times likelier than one nobody has met it is to be what splits. lenses: how many lenses they were
    learned from.
    """

    limits: tuple[float, ...] = field(default_factory=_base_limits)
    spreads: tuple[float, ...] = field(default_factory=_base_spreads)
    offsets: Mapping[str, float] = field(default_factory=dict)
    cell_spread: float = CELL_SPREAD_AV
    causes: Mapping[str, float] = field(default_factory=lambda: dict(CAUSE_ODDS))
    effects: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    levels: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    lenses: int = 0
    visible_ev: float = VISIBLE_EV
    method_version: str = METHOD_VERSION

    def to_dict(self) -> dict:
        """JSON-safe; from_dict gives back the same digits."""
        return {
            "limits": list(self.limits),
            "spreads": list(self.spreads),
            "spread_points": list(SPREADS),
            "offsets": dict(self.offsets),
            "cell_spread": self.cell_spread,
            "causes": dict(self.causes),
            "effects": {factor: list(shares) for factor, shares in self.effects.items()},
            "levels": {factor: dict(weights) for factor, weights in self.levels.items()},
            "lenses": self.lenses,
            "visible_ev": self.visible_ev,
            "method_version": self.method_version,
        }

    @classmethod
    def from_dict(cls, content: Mapping) -> Priors:
        """Beliefs as stored, by this version of the method or an earlier one: what that one did not know yet has
        its base value, which is what it computed with."""
        known = {name: content[name] for name in cls.__dataclass_fields__ if name in content}
        known |= {name: tuple(known[name]) for name in ("limits", "spreads") if name in known}
        if "spreads" in known:
            known["spreads"] = _on_spreads(content.get("spread_points", EARLIER_SPREADS), known["spreads"])
        effects = {factor: tuple(shares) for factor, shares in known.pop("effects", {}).items()}
        return cls(**known, effects=effects)

    def effect_of(self, factor: str) -> np.ndarray:
        """Probabilities of SHIFTS given that a factor splits the reports, (shifts,)."""
        return np.array(self.effects.get(factor, BASE_EFFECT))

    def level_weight(self, factor: str, level: str | None) -> float:
        """How many times likelier than an unknown one a level of a factor is to be what splits."""
        return self.levels.get(factor, {}).get(level, 1.0)

    def at(self, visible_ev: float) -> Priors:
        """The same beliefs for another threshold (EV): limits move as far as excess grows with the f-number.

        Excess ∝ N^EXCESS_EXPONENT, so a threshold T is reached 2 log2(T / own) / exponent stops later, the
        less surely the further.
        """
        if visible_ev == self.visible_ev:
            return self
        moved = float(np.log2(visible_ev / self.visible_ev) / (EXCESS_EXPONENT / 2))
        limits = np.array(self.limits) @ kernel(abs(moved) * EXCESS_EXPONENT_SPREAD, moved)
        return replace(self, limits=tuple(limits.tolist()), visible_ev=visible_ev)


def _on_spreads(points: Sequence[float], weights: tuple[float, ...]) -> tuple[float, ...]:
    """Weights of other spreads moved to SPREADS, each shared by its two neighbours on a log scale."""
    if tuple(points) == SPREADS:
        return weights
    place = np.interp(np.log(points), np.log(SPREADS), np.arange(len(SPREADS)))
    share = np.maximum(0.0, 1 - np.abs(place[:, None] - np.arange(len(SPREADS))))
    return tuple((np.array(weights) @ share).tolist())


DEFAULT_PRIORS = Priors()
