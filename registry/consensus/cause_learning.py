"""What a catalogue teaches about causes: how often each factor splits reports, how far, and which of its levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from registry.consensus.beliefs import BASE_EFFECT, SHIFTS, Priors
from registry.consensus.causes import Explanations
from registry.consensus.constants import (
    CAUSE_BASE_LENSES,
    EFFECT_BASE_CAUSES,
    EM_PASSES,
    LEVEL_BASE_CAUSES,
)

LARGEST_LOG = 500.0
"""Evidence beyond e^this is as good as certain, and its exponential still a number."""


@dataclass(frozen=True)
class _Tried:
    """Every contrast tried on any lens: its lens, its factor's and its level's number, its log evidence by shift."""

    factors: list[str]
    levels: list[tuple[str, str | None]]
    lens: np.ndarray
    factor: np.ndarray
    level: np.ndarray
    by_shift: np.ndarray
    lenses: int

    def per_lens(self, values: np.ndarray) -> np.ndarray:
        return np.bincount(self.lens, weights=values, minlength=self.lenses)

    def per_factor(self, values: np.ndarray) -> np.ndarray:
        return np.bincount(self.factor, weights=values, minlength=len(self.factors))


@dataclass(frozen=True)
class _Guess:
    """Probability of each factor; of each shift given the factor, (factors, shifts); weight of each level."""

    shares: np.ndarray
    effects: np.ndarray
    weights: np.ndarray


def learn_causes(
    explanations: Sequence[Explanations], base: Priors, passes: int = EM_PASSES
) -> tuple[Priors, np.ndarray]:
    """The base with its causes, effects and levels learned by expectation-maximisation, and how likely nothing
    splits each lens's reports, shape (lenses,).

    A factor that could not be tried on a lens keeps its prior there; lenses without any teach nothing.
    """
    tried = _gathered(explanations, base)
    held = _Guess(
        np.array([base.causes[factor] for factor in tried.factors]),
        np.tile(BASE_EFFECT, (len(tried.factors), 1)),
        np.ones(len(tried.levels)),
    )
    guess, none = held, np.full(tried.lenses, 1.0)
    for _ in range(passes if len(tried.lens) else 0):
        posterior, none = _expected(tried, guess)
        guess = _improved(tried, posterior, held)
    return _with_causes(base, tried, guess), none


def _gathered(explanations: Sequence[Explanations], base: Priors) -> _Tried:
    factors = sorted(base.causes)
    rows = [
        (lens, explained) for lens, each in enumerate(explanations) for explained in each.tried if explained
    ]
    named = [(explained.contrast.factor, explained.contrast.level) for _, explained in rows]
    levels = sorted(set(named), key=lambda key: (key[0], key[1] or ""))
    return _Tried(
        factors,
        levels,
        np.array([lens for lens, _ in rows], dtype=np.intp),
        np.array([factors.index(factor) for factor, _ in named], dtype=np.intp),
        np.array([levels.index(key) for key in named], dtype=np.intp),
        np.array([explained.by_shift for _, explained in rows]).reshape(-1, len(SHIFTS)),
        len(explanations),
    )


def _expected(tried: _Tried, guess: _Guess) -> tuple[np.ndarray, np.ndarray]:
    """Posterior of every contrast and shift, (contrasts, shifts), and of nothing splitting each lens."""
    weight = guess.weights[tried.level]
    pair = tried.lens * len(tried.factors) + tried.factor
    within = weight / np.bincount(pair, weights=weight)[pair]
    evidence = np.exp(np.minimum(tried.by_shift, LARGEST_LOG))
    joint = (guess.shares[tried.factor] * within)[:, None] * guess.effects[tried.factor] * evidence
    was_tried = np.zeros((tried.lenses, len(tried.factors)), dtype=bool)
    was_tried[tried.lens, tried.factor] = True
    untold = (~was_tried) @ guess.shares
    nothing = 1 - guess.shares.sum() + untold
    total = nothing + tried.per_lens(joint.sum(axis=1))
    return joint / total[tried.lens, None], nothing / total


def _improved(tried: _Tried, posterior: np.ndarray, held: _Guess) -> _Guess:
    told = tried.per_factor(posterior.sum(axis=1))
    lenses = len(np.unique(tried.lens))
    shares = (CAUSE_BASE_LENSES * held.shares + told) / (CAUSE_BASE_LENSES + lenses)
    by_factor = np.stack([tried.per_factor(column) for column in posterior.T], axis=1)
    sizes = EFFECT_BASE_CAUSES * held.effects[0] + _both_ways(by_factor.sum(axis=0))
    effects = EFFECT_BASE_CAUSES * sizes / sizes.sum() + by_factor
    counts = np.bincount(tried.level, weights=posterior.sum(axis=1), minlength=len(tried.levels))
    return _Guess(shares, effects / effects.sum(axis=1, keepdims=True), 1 + counts / LEVEL_BASE_CAUSES)


def _both_ways(effect: np.ndarray) -> np.ndarray:
    """Sizes alone: every shift and its opposite share what the two have."""
    return (effect + effect[::-1]) / 2


def _with_causes(base: Priors, tried: _Tried, guess: _Guess) -> Priors:
    levels: dict[str, dict[str, float]] = {}
    for (factor, level), weight in zip(tried.levels, guess.weights.tolist(), strict=True):
        if (
            level is not None and factor != "copy"
        ):  # a copy belongs to one lens and teaches nothing about others
            levels.setdefault(factor, {})[level] = weight
    effects = {
        factor: tuple(effect.tolist()) for factor, effect in zip(tried.factors, guess.effects, strict=True)
    }
    return replace(
        base,
        causes=dict(zip(tried.factors, guess.shares.tolist(), strict=True)),
        effects=effects if len(tried.lens) else base.effects,
        levels=levels,
    )
