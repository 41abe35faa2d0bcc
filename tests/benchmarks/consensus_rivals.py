"""What else one could do with the same reports: every rival answers the same cases from the same document.

Each takes a case of the exchange form and gives P(clean) at its question_stops. None knows about testers,
copies or wavelengths, since none of them does in the books it is from; each is given the report's stops only.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtr

THRESHOLD = 0.10
GRADE_CLEAN = (0.995, 0.93, 0.07, 0.01, 0.003)
SURE = (0.02, 0.98)


def stops_of(report: dict) -> list[tuple[float, float]]:
    """(Av, P(clean)) of a report's readings, or of what its claim says; empty if it says nothing."""
    if report.get("readings"):
        return sorted((2 * math.log2(_exact(r["f"])), _chance(r)) for r in report["readings"])
    claim = report["claim"]
    av = 2 * math.log2(_exact(claim["f"])) if "f" in claim else None
    return {
        "clean_to": lambda: [(av, 0.97), (av + 1, 0.12)],
        "hot_from": lambda: [(av - 1, 0.88), (av, 0.03)],
        "clean_all": lambda: [(8.0, 0.97)],
        "hot_all": lambda: [(1.0, 0.02)],
        "mixed": list,
    }[claim["says"]]()


def _exact(mark: float) -> float:
    return 2 ** (round(2 * math.log2(mark) * 2) / 4)


def _chance(reading: dict) -> float:
    if "grade" in reading:
        return GRADE_CLEAN[reading["grade"]]
    spread = math.hypot(reading["u"], 0.03)
    return float(np.clip(ndtr((THRESHOLD - reading["ev"]) / spread), 0.005, 0.995))


def interval_of(report: dict) -> tuple[float, float] | None:
    """The limit's interval (last clean Av, first hot Av], infinite where open; None if it says nothing."""
    stops = stops_of(report)
    if not stops:
        return None
    odds = [math.log(p / (1 - p)) for _, p in stops]
    fits = [sum(odds[:k]) - sum(odds[k:]) for k in range(len(stops) + 1)]
    k = int(np.argmax(fits))
    return (stops[k - 1][0] if k else -math.inf, stops[k][0] if k < len(stops) else math.inf)


def _says(case: dict, av: float) -> list[float]:
    """What each report says of a stop: 1 clean, 0 hot, by the side of its interval."""
    votes = []
    for report in case["reports"]:
        interval = interval_of(report)
        if interval is not None:
            low, high = interval
            votes.append(1.0 if av <= low + 0.1 else 0.0 if av >= high - 0.1 else 0.5)
    return votes


def majority(case: dict) -> dict[float, float]:
    """Share of reports that call the stop clean, never quite none or all; a half if nobody says anything.

    With Laplace's rule of succession it would score worse at few reports: testers agree more than coins do.
    """
    return _by_stop(case, lambda votes: _held(np.mean(votes)) if votes else 0.5)


def _held(chance: float) -> float:
    """A share that stays clear of certainty."""
    return float(np.clip(chance, *SURE))


def mean_score(case: dict) -> dict[float, float]:
    """Mean P(clean) of the reports' nearest readings; a half if nobody says anything."""
    answers = {}
    for stop in case["question_stops"]:
        av = 2 * math.log2(_exact(stop))
        scores = [
            min(stops, key=lambda s: abs(s[0] - av))[1] for r in case["reports"] if (stops := stops_of(r))
        ]
        answers[stop] = float(np.mean(scores)) if scores else 0.5
    return answers


def _by_stop(case: dict, rule: Callable[[list[float]], float]) -> dict[float, float]:
    return {stop: rule(_says(case, 2 * math.log2(_exact(stop)))) for stop in case["question_stops"]}


def turnbull(case: dict) -> dict[float, float]:
    """Non-parametric maximum likelihood of interval-censored limits, by lifelines' EM."""
    from lifelines import KaplanMeierFitter

    found = [interval for report in case["reports"] if (interval := interval_of(report))]
    if len(found) < 2:
        return majority(case)
    low = np.array([max(a, -4.0) + 10 for a, _ in found])
    high = np.array([b + 10 if math.isfinite(b) else math.inf for _, b in found])
    high = np.where(high <= low, low + 1e-3, high)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            fit = KaplanMeierFitter().fit_interval_censoring(low, high)
        except Exception:  # the library fails on some degenerate samples; the rival is then the vote
            return majority(case)
    table = fit.survival_function_
    survival = table.iloc[:, :2].mean(axis=1)
    answers = {}
    for stop in case["question_stops"]:
        av = 2 * math.log2(_exact(stop)) + 10
        before = survival[table.index <= av + 1e-6]
        answers[stop] = float(before.iloc[-1]) if len(before) else 1.0
    return {stop: _held(p) for stop, p in answers.items()}


def interval_normal(case: dict) -> dict[float, float]:
    """Normal limits by maximum likelihood of their intervals, a weak prior keeping one report finite."""
    found = np.array([i for report in case["reports"] if (i := interval_of(report))] or [(-np.inf, np.inf)])

    def loss(theta: np.ndarray) -> float:
        mean, log_sd = theta
        sd = math.exp(log_sd)
        mass = ndtr((found[:, 1] - mean) / sd) - ndtr((found[:, 0] - mean) / sd)
        return -np.log(mass + 1e-9).sum() + ((mean - 6.5) / 5) ** 2 / 2 + (log_sd + 0.4) ** 2 / 2

    mean, log_sd = minimize(loss, np.array([6.0, -0.4]), method="Nelder-Mead").x
    return {s: _tail(2 * math.log2(_exact(s)), mean, math.exp(log_sd)) for s in case["question_stops"]}


def dersimonian_laird(case: dict) -> dict[float, float]:
    """Random-effects pooling of interval midpoints (statsmodels), the predictive spread being τ² + se²."""
    from statsmodels.stats.meta_analysis import combine_effects

    found = [interval for report in case["reports"] if (interval := interval_of(report))]
    if not found:
        return dict.fromkeys(case["question_stops"], 0.5)
    middle = np.array(
        [(max(a, b - 2 if math.isfinite(b) else a) + min(b, a + 2)) / 2 for a, b in _closed(found)]
    )
    error = np.array([0.3 if math.isfinite(a) and math.isfinite(b) else 1.0 for a, b in found])
    if len(found) == 1:
        mean, variance = middle[0], error[0] ** 2 + 0.5
    else:
        with np.errstate(all="ignore"):  # where reports agree too well, the library's τ² is negative
            pooled = combine_effects(middle, error**2, method_re="dl")
        tau2 = max(float(pooled.tau2), 0.0)
        weights = 1 / (error**2 + tau2)
        mean, variance = float(weights @ middle / weights.sum()), tau2 + 1 / weights.sum()
    return {s: _tail(2 * math.log2(_exact(s)), mean, math.sqrt(variance)) for s in case["question_stops"]}


def _closed(found: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(a if math.isfinite(a) else b - 2, b if math.isfinite(b) else a + 2) for a, b in found]


def _tail(av: float, mean: float, sd: float) -> float:
    return float(ndtr((mean - av) / sd))


RIVALS: dict[str, Callable[[dict], dict[float, float]]] = {
    "majority": majority,
    "mean score": mean_score,
    "NPMLE (Turnbull)": turnbull,
    "unpooled interval-censored": interval_normal,
    "DerSimonian–Laird": dersimonian_laird,
}
