"""Plain figures beside the model: shares, pooled excess, agreement. Each from a statistics library.

They describe what was sent; no verdict rests on them. Every figure counts a cluster once, never its rows.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import krippendorff
import numpy as np
from scipy.optimize import isotonic_regression
from scipy.stats import t as student
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.proportion import proportion_confint

from registry.consensus.arrays import arrays_of, band_of, zone_of
from registry.consensus.cells import UNSTATED, zones_of
from registry.consensus.clusters import clusters_of
from registry.consensus.constants import GRADE_EV, READING_FLOOR_EV, UNSTATED_SE_EV, VISIBLE_EV
from registry.consensus.evidence import Lens, Reading, Report
from registry.consensus.likelihood import chances_from_ev, chances_from_grades
from registry.optics.stops import exact_av


@dataclass(frozen=True, slots=True)
class ShareClean:
    """Clusters that call a stop clean, of those that tested it, with the 95 % Wilson interval."""

    f_number: float
    clean: int
    n: int
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class PooledEffect:
    """Random-effects mean of n effects: its standard error and 95 % Hartung–Knapp interval; τ² between them;
    Cochran's Q; I² as a fraction. With one effect, or none of the spread explained, low and high are NaN or
    the fixed-effect ones."""

    mean: float
    se: float
    low: float
    high: float
    tau2: float
    q: float
    i2: float
    n: int


@dataclass(frozen=True, slots=True)
class StopExcess:
    """Measured excess (EV) pooled at one stop by two estimators of τ², and the first made never to fall with
    the f-number."""

    f_number: float
    dersimonian_laird: PooledEffect
    paule_mandel: PooledEffect
    isotonic_ev: float


@lru_cache(maxsize=4096)
def wilson_interval(count: int, n: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a proportion (statsmodels). n = 0 gives (0, 1)."""
    if not n:
        return 0.0, 1.0
    low, high = proportion_confint(count, n, alpha=1 - confidence, method="wilson")
    return float(max(low, 0.0)), float(min(high, 1.0))


def pooled_effect(
    effects: Sequence[float], variances: Sequence[float], method: str = "dersimonian-laird"
) -> PooledEffect:
    """Random-effects mean with Hartung–Knapp interval (statsmodels.combine_effects).

    method: "dersimonian-laird" or "paule-mandel". Where Q does not exceed its degrees of freedom, τ² is 0;
    the library would go on with a negative one.
    """
    effect, variance = np.asarray(effects, dtype=float), np.asarray(variances, dtype=float)
    n = len(effect)
    if n == 1:
        nan = math.nan
        return PooledEffect(float(effect[0]), float(variance[0] ** 0.5), nan, nan, 0.0, 0.0, 0.0, 1)
    re = {"dersimonian-laird": "dl", "paule-mandel": "pm"}[method]
    with np.errstate(divide="ignore", invalid="ignore"):  # its own I² divides by Q, 0 where all effects agree
        fixed = combine_effects(effect, variance, method_re="dl", use_t=True)
    q = float(fixed.q)
    i2 = max(0.0, (q - (n - 1)) / q) if q > 0 else 0.0
    if q <= n - 1:
        mean, se, hartung = fixed.mean_effect_fe, fixed.sd_eff_w_fe, fixed.var_hksj_fe**0.5
        tau2 = 0.0
    else:
        random = fixed if re == "dl" else combine_effects(effect, variance, method_re=re, use_t=True)
        mean, se, hartung = random.mean_effect_re, random.sd_eff_w_re, random.var_hksj_re**0.5
        tau2 = float(random.tau2)
    half = float(_student(n - 1) * hartung)
    return PooledEffect(float(mean), float(se), mean - half, mean + half, tau2, q, i2, n)


@lru_cache(maxsize=1024)
def _student(freedom: int) -> float:
    """Upper 2.5 % point of Student's t."""
    return student.ppf(0.975, freedom)


def never_falling(values: Sequence[float], weights: Sequence[float] | None = None) -> np.ndarray:
    """Least-squares non-decreasing sequence nearest to the values (scipy.optimize.isotonic_regression)."""
    return isotonic_regression(values, weights=weights).x


def ordinal_alpha(value_counts: np.ndarray) -> float | None:
    """Krippendorff's α for ordinal grades from counts, shape (units, grades); None where it isn't defined:
    no unit with two judgements, or all judgements alike."""
    counts = np.asarray(value_counts)
    counts = counts[counts.sum(axis=1) > 1]
    used = counts.sum(axis=0) > 0
    if not len(counts) or used.sum() < 2:
        return None
    return float(
        krippendorff.alpha(
            value_counts=counts[:, used],
            value_domain=np.flatnonzero(used).tolist(),
            level_of_measurement="ordinal",
        )
    )


def reports_in(lens: Lens, reports: Iterable[Report], band: str, focal_zone: str) -> list[Report]:
    """The reports that state, or can only have, this band and focal zone."""
    zones = zones_of(lens.focal_min, lens.focal_max)
    return [
        report
        for report in reports
        if (band_of(report) or UNSTATED) == band
        and (zone_of(report.focal_mm, zones) or UNSTATED) == focal_zone
    ]


def shares_clean(lens: Lens, reports: Sequence[Report], visible_ev: float = VISIBLE_EV) -> list[ShareClean]:
    """Per stop that readings tested, how many clusters call it clean."""
    grades = chances_from_grades(visible_ev)

    def chance(reading: Reading) -> float:
        if reading.ev is None:
            return float(grades[reading.grade])
        se = math.nan if reading.ev_se is None else reading.ev_se
        return float(chances_from_ev(np.array(reading.ev), np.array(se), visible_ev))

    shares = []
    for f_number, by_cluster in _readings_by_stop(lens, reports):
        votes = [np.mean([chance(reading) for reading in mine]) >= 0.5 for mine in by_cluster.values()]
        clean, n = int(sum(votes)), len(votes)
        shares.append(ShareClean(f_number, clean, n, clean / n, *wilson_interval(clean, n)))
    return shares


def excess_by_stop(lens: Lens, reports: Sequence[Report]) -> list[StopExcess]:
    """Measured excess per stop, pooled over clusters; empty where nothing was measured."""
    pooled = []
    for f_number, by_cluster in _readings_by_stop(lens, reports):
        summaries = [_measured(mine) for mine in by_cluster.values()]
        known = sorted(summary for summary in summaries if summary)
        if known:
            effects, variances = zip(*known, strict=True)
            pooled.append((f_number, *_both(effects, variances)))
    level = (
        never_falling([dl.mean for _, dl, _ in pooled], [1 / dl.se**2 for _, dl, _ in pooled])
        if pooled
        else []
    )
    return [StopExcess(*row, float(ev)) for row, ev in zip(pooled, level, strict=True)]


def _both(effects, variances) -> tuple[PooledEffect, PooledEffect]:
    first = pooled_effect(effects, variances)
    if not first.tau2:  # nothing beyond chance: no estimator of τ² finds any
        return first, first
    return first, pooled_effect(effects, variances, "paule-mandel")


def _measured(readings: Sequence[Reading]) -> tuple[float, float] | None:
    """Mean excess of one cluster's readings at a stop, and its variance; repeats make it no surer."""
    mine = sorted(
        (r.ev, UNSTATED_SE_EV if r.ev_se is None else r.ev_se) for r in readings if r.ev is not None
    )
    if not mine:
        return None
    ev, se = np.array(mine).T
    return float(ev.mean()), float(np.mean(se**2) + READING_FLOOR_EV**2)


def _readings_by_stop(lens: Lens, reports: Sequence[Report]):
    """(f-number, {cluster: readings}) of every stop tested, widest first."""
    reports = sorted(reports, key=lambda report: (report.tester, report.id))
    if not reports:
        return []
    clusters = clusters_of(arrays_of([(lens, reports)])).tolist()
    stops: dict[float, dict[int, list[Reading]]] = defaultdict(lambda: defaultdict(list))
    marks: dict[float, float] = {}
    for report, cluster in zip(reports, clusters, strict=True):
        for reading in report.readings:
            av = round(exact_av(reading.f_number), 6)
            marks.setdefault(av, reading.f_number)
            stops[av][cluster].append(reading)
    return [(marks[av], stops[av]) for av in sorted(stops)]


def grade_of(reading: Reading) -> int:
    """Eye grade of a reading: its own, or the one its measured excess falls into."""
    if reading.ev is None:
        return reading.grade
    return sum(reading.ev >= low for low, _ in GRADE_EV[1:])


def registry_agreement(catalogue: Iterable[tuple[Lens, Sequence[Report]]]) -> float | None:
    """Krippendorff's α (ordinal) of grades over the whole registry: a unit is a lens's cell at one stop, a
    judgement a cluster's median grade there."""
    units = []
    for lens, reports in catalogue:
        zones = zones_of(lens.focal_min, lens.focal_max)
        cells = sorted({(band_of(r) or UNSTATED, zone_of(r.focal_mm, zones) or UNSTATED) for r in reports})
        for band, zone in cells:
            for _, by_cluster in _readings_by_stop(lens, reports_in(lens, reports, band, zone)):
                grades = [int(np.median([grade_of(r) for r in mine])) for mine in by_cluster.values()]
                units.append(np.bincount(grades, minlength=len(GRADE_EV)))
    return ordinal_alpha(np.array(units)) if units else None
