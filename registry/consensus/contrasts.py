"""Ways to split a lens's reports: each a number per report, from −½ to +½, for one factor."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from registry.consensus.arrays import band_of
from registry.consensus.cells import BANDS
from registry.consensus.constants import CAUSE_SIDE_COUNT, CUT_ON_RANGE_NM, FOCAL_RANGE_OCTAVES, TREND_REACH
from registry.consensus.evidence import Report


@dataclass(frozen=True)
class Contrast:
    """One candidate split.

    factor: what it is about. weights: one per report, NaN where the report doesn't state the factor.
    group_a, group_b: names of the sides at +½ and −½. origin, width: of a trend, so that the weight of a
    value x is (x − origin) / width; level: of a split of one level against the rest.
    shares: (weight, share of the clusters that stand there). told: whether the reports can tell; if not, the
    split is only feared, since a question stands where too few reports do.
    """

    factor: str
    weights: np.ndarray
    group_a: str
    group_b: str
    origin: float = 0.0
    width: float = 0.0
    level: str | None = None
    shares: tuple[tuple[float, float], ...] = ()
    told: bool = True

    def weights_of(self, conditions) -> list[tuple[float, float]]:
        """(weight, probability) of a question's conditions.

        One that doesn't state the factor is spread over the reports' weights as they come. A copy that
        nobody names is another one than the odd one out.
        """
        value = self.value_of(conditions)
        if value is None:
            return self.spread()
        if self.level is not None:
            return [(0.5 if value == self.level else -0.5, 1.0)]
        return [(float(np.clip((value - self.origin) / self.width, -TREND_REACH, TREND_REACH)), 1.0)]

    def spread(self) -> list[tuple[float, float]]:
        """Distinct weights with the shares of clusters that stand there."""
        if self.factor == "copy" and self.group_b == OTHERS:
            return [(-0.5, 1.0)]
        return list(self.shares)

    def value_of(self, conditions):
        """The factor's value in a report or a question."""
        if self.factor == "cut_on" and self.level is not None:
            return band_of(conditions)
        if self.factor in _TRENDS:
            return _TRENDS[self.factor][0](conditions)
        return getattr(conditions, self.factor, None)


def _cut_on(conditions) -> float | None:
    return None if getattr(conditions, "cut_on_group", None) else conditions.cut_on_nm


def _octaves(conditions) -> float | None:
    return None if conditions.focal_mm is None else float(np.log2(conditions.focal_mm))


_TRENDS = {
    "cut_on": (_cut_on, CUT_ON_RANGE_NM, lambda value: f"{value:g} nm"),
    "focal": (_octaves, FOCAL_RANGE_OCTAVES, lambda value: f"{2**value:.0f} mm"),
}
OTHERS = "the others"
OTHER_CUT_ONS = "other cut-ons"
_LEVELS = ("filter_position", "body", "copy", "method")


def contrasts_of(reports: Sequence[Report], clusters: np.ndarray) -> list[Contrast]:
    """Every split that the reports can say something about, in an order of content alone.

    clusters: label of each report's cluster. A side needs CAUSE_SIDE_COUNT clusters, unless one cluster
    stands on both sides: then it is its own control.
    """
    found = [*_trends(reports), *_groups(reports), *_levels(reports, clusters)]
    return [
        replace(contrast, shares=_shares(contrast.weights, clusters))
        for contrast in found
        if _telling(contrast, clusters)
    ]


def feared_contrasts(
    reports: Sequence[Report], clusters: np.ndarray, question, told: Sequence[Contrast]
) -> list[Contrast]:
    """Splits between a question and reports made otherwise, where the reports can't tell.

    told: the contrasts they can tell about. Nobody may ever have tested with the filter where the question has
    it, or on its body; that it matters there is then as likely as it is for any lens.
    """
    both = [*reports, question]
    factors = {contrast.factor for contrast in told}
    found = [
        contrast
        for contrast in _trends(both)
        if contrast.factor not in factors and contrast.value_of(question) is not None
    ]
    for factor in ("filter_position", "body", "method"):
        level = getattr(question, factor)
        values = [getattr(report, factor) for report in reports]
        if level is None or all(value in (None, level) for value in values):
            continue
        if any(
            level in (contrast.group_a, contrast.group_b) for contrast in told if contrast.factor == factor
        ):
            continue
        weights = np.array([np.nan if v is None else (0.5 if v == level else -0.5) for v in [*values, level]])
        found.append(Contrast(factor, weights, level, OTHERS, level=level))
    return [
        replace(contrast, weights=own, shares=_shares(own, clusters), told=False)
        for contrast in found
        if not np.isnan(own := contrast.weights[:-1]).all()
    ]


def _shares(weights: np.ndarray, clusters: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Distinct weights with their shares, every cluster counted once at each: repeats buy nothing here either."""
    known = ~np.isnan(weights)
    stands = sorted(set(zip(weights[known].tolist(), clusters[known].tolist(), strict=True)))
    counts = Counter(weight for weight, _ in stands)
    return tuple((weight, count / len(stands)) for weight, count in counts.items())


def _telling(contrast: Contrast, clusters: np.ndarray) -> bool:
    above = set(clusters[contrast.weights > 0].tolist())
    below = set(clusters[contrast.weights < 0].tolist())
    if above & below:
        return True
    return min(len(above), len(below)) >= CAUSE_SIDE_COUNT


def _trends(reports: Sequence[Report]) -> Iterator[Contrast]:
    for factor, (value_of, needed, name) in _TRENDS.items():
        values = np.array([np.nan if (v := value_of(report)) is None else v for report in reports])
        if np.isnan(values).all():
            continue
        low, high = np.nanmin(values), np.nanmax(values)
        if high - low >= needed:
            origin, width = float(low + high) / 2, float(high - low)
            weights = (values - origin) / width
            yield Contrast(factor, weights, name(high), name(low), origin, width)


def _groups(reports: Sequence[Report]) -> Iterator[Contrast]:
    """Rigs without a single cut-on against all that have one."""
    bands = [band_of(report) for report in reports]
    for group in sorted({band for band in bands if band and band not in BANDS}):
        weights = np.array([np.nan if b is None else (0.5 if b == group else -0.5) for b in bands])
        yield Contrast("cut_on", weights, group, OTHER_CUT_ONS, level=group)


def _levels(reports: Sequence[Report], clusters: np.ndarray) -> Iterator[Contrast]:
    for factor in _LEVELS:
        values = [getattr(report, factor) for report in reports]
        if factor == "copy":
            values = _own_copies(values, clusters.tolist())
        levels = sorted({value for value in values if value is not None})
        several = _worth_trying(values, clusters.tolist()) if len(levels) > 2 else levels[:1]
        for level in several if len(levels) > 1 else ():
            unknown = -0.5 if factor == "copy" and len(levels) > 2 else np.nan
            weights = np.array([unknown if v is None else (0.5 if v == level else -0.5) for v in values])
            others = OTHERS if len(levels) > 2 else levels[1]
            yield Contrast(factor, weights, level, others, level=level)


def _worth_trying(values: list[str | None], clusters: list[int]) -> list[str]:
    """Levels that could tell (see _telling), sorted: of hundreds of people with a copy each, none."""
    stands: dict[int, set[str | None]] = {}
    speak: dict[str | None, set[int]] = {}
    for value, cluster in zip(values, clusters, strict=True):
        stands.setdefault(cluster, set()).add(value)
        speak.setdefault(value, set()).add(cluster)
    return sorted(
        level
        for level, own in speak.items()
        if level is not None
        and (len(own) >= CAUSE_SIDE_COUNT or any(len(stands[cluster]) > 1 for cluster in own))
    )


def _own_copies(copies: list[str | None], clusters: list[int]) -> list[str | None]:
    """Copies with those filled in that a contributor leaves unnamed and names elsewhere: it is the same lens on the
    same desk, not another example of it."""
    named: dict[int, set[str]] = {}
    for copy, cluster in zip(copies, clusters, strict=True):
        if copy is not None:
            named.setdefault(cluster, set()).add(copy)
    only = {cluster: min(own) for cluster, own in named.items() if len(own) == 1}
    return [
        only.get(cluster) if copy is None else copy for copy, cluster in zip(copies, clusters, strict=True)
    ]
