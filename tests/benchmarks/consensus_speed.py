"""How fast the consensus is, as ratios to named baselines in the same run.

python tests/benchmarks/consensus_speed.py [--lenses 10000] [--quick] [--record]
Baselines: one vectorised pass over the readings (a mean per lens and stop); and a loop over the lenses with
statsmodels (per stop a Wilson interval and DerSimonian–Laird with its interval), timed on some of them and
scaled up. CPU seconds stand beside the wall's, which other work on the machine inflates. First of all the
fast path over the catalogue must agree with the exact one.
"""

from __future__ import annotations

import argparse
import os
import pathlib
import sys
import time
import warnings
from collections.abc import Callable

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the engine runs its own two threads
HERE = pathlib.Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import numpy as np
from consensus_record import record
from statsmodels.stats.meta_analysis import combine_effects
from statsmodels.stats.proportion import proportion_confint

from registry.consensus.arrays import EvidenceArrays
from registry.consensus.assessment import assess_arrays, assess_fast, assess_lens
from registry.consensus.cells import BANDS
from registry.consensus.evidence import Lens, Reading, Report

STOPS = np.arange(1.0, 11.0)
GRADE_ODDS = np.log(
    np.array([0.995, 0.93, 0.07, 0.01, 0.003]) / (1 - np.array([0.995, 0.93, 0.07, 0.01, 0.003]))
)


def catalogue(lenses: int, seed: int = 1) -> EvidenceArrays:
    """Columns of a catalogue: some 6 testers a lens, 10.7 sweeps, 107 readings; a third are zooms tested at
    up to three focal zones; half the sweeps measured, half graded; two bands a lens at most."""
    rng = np.random.default_rng(seed)
    testers = rng.poisson(5.5, lenses) + 1
    zoom = rng.random(lenses) < 0.35
    tester_lens = np.repeat(np.arange(lenses), testers)
    sweeps = np.where(zoom[tester_lens], 3, 1) + (rng.random(len(tester_lens)) < 0.05)
    report_tester = np.repeat(np.arange(len(tester_lens)), sweeps)
    lens = tester_lens[report_tester]
    place = np.arange(len(lens)) - np.repeat(np.cumsum(sweeps) - sweeps, sweeps)
    band = (rng.integers(0, 2, len(tester_lens))[report_tester] + lens) % len(BANDS)
    limit = rng.normal(6.3, 2.4, lenses)[lens] + rng.normal(0, 0.7, len(tester_lens))[report_tester]
    limit += rng.normal(0, 0.3, len(lens))
    count = len(lens)
    reading_report = np.repeat(np.arange(count), len(STOPS))
    av = np.tile(STOPS, count)
    excess = 0.10 * 2 ** (rng.uniform(0.3, 1.2, count)[reading_report] * (av - limit[reading_report]))
    odds = np.where((reading_report % 2) == 0, _measured(rng, excess), _graded(rng, excess))
    nothing = np.full(count, -1)
    return EvidenceArrays(
        lens_widest=np.ones(lenses),
        lens_narrowest=np.full(lenses, 10.0),
        lens_tele=np.ones(lenses),
        lens_ends=np.column_stack([np.zeros(lenses, int), np.where(zoom, 3, 0)]),
        lens_zones=np.where(zoom, 4, 1),
        report_lens=lens,
        report_tester=report_tester,
        report_copy=nothing,
        report_source=nothing,
        report_echo=nothing,
        report_band=band,
        report_zone=place,
        report_kind=np.zeros(count, dtype=int),
        reading_report=reading_report,
        reading_av=av,
        reading_odds=odds,
        claimed_report=np.empty(0, dtype=int),
        claimed_av=np.empty(0),
        bands=list(BANDS),
        zones=["23-33", "33-47", "47-66", "66-93"],
    )


def _measured(rng, excess: np.ndarray) -> np.ndarray:
    from registry.consensus.likelihood import chances_from_ev

    error = rng.uniform(0.008, 0.04, len(excess))
    p = chances_from_ev(np.minimum(excess, 2) + error * rng.normal(size=len(excess)), error)
    return np.log(p / (1 - p))


def _graded(rng, excess: np.ndarray) -> np.ndarray:
    return GRADE_ODDS[np.searchsorted((0.05, 0.10, 0.30, 0.70), excess + 0.02 * rng.normal(size=len(excess)))]


def one_pass(arrays: EvidenceArrays) -> np.ndarray:
    """The baseline: mean P(clean) per lens and stop, one vectorised pass over the readings."""
    place = arrays.report_lens[arrays.reading_report] * 16 + arrays.reading_av.astype(int)
    p = 1 / (1 + np.exp(-arrays.reading_odds))
    return np.bincount(place, weights=p) / np.maximum(np.bincount(place), 1)


def statsmodels_loop(arrays: EvidenceArrays, lenses: int) -> None:
    """The baseline: per lens and stop, a Wilson interval and DerSimonian–Laird over the log odds."""
    odds = arrays.reading_odds.reshape(-1, len(STOPS))
    for lens in range(lenses):
        mine = odds[_slice(arrays, lens)]
        proportion_confint((mine > 0).sum(axis=0), len(mine), method="wilson")
        if len(mine) > 1:
            with np.errstate(all="ignore"):
                for effects in mine.T:
                    combine_effects(effects, np.full(len(mine), 0.5), method_re="dl").conf_int(use_t=True)


def _slice(arrays: EvidenceArrays, lens: int) -> np.ndarray:
    return np.arange(*np.searchsorted(arrays.report_lens, [lens, lens + 1]))


def one_lens() -> tuple[Lens, list[Report]]:
    """Ten reports that agree, seven readings each."""
    lens = Lens(2, 16, 50, 50)
    stops = (2, 2.8, 4, 5.6, 8, 11, 16)
    sweeps = [tuple(Reading(s, ev=0.01 * s, ev_se=0.01 + 0.001 * n) for s in stops) for n in range(10)]
    return lens, [
        Report(str(n), f"t{n}", cut_on_nm=720, focal_mm=50, readings=r) for n, r in enumerate(sweeps)
    ]


def timed(act: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Least of several wall times and of several CPU times, seconds."""
    times = []
    for _ in range(repeats):
        wall, cpu = time.perf_counter(), time.process_time()
        act()
        times.append((time.perf_counter() - wall, time.process_time() - cpu))
    return tuple(min(each) for each in zip(*times, strict=True))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--lenses", type=int, default=10_000)
    parser.add_argument("--quick", action="store_true", help="1,000 lenses")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--record", action="store_true", help="keep the figures for the method page")
    options = parser.parse_args()
    lenses = 1000 if options.quick else options.lenses
    warnings.simplefilter("ignore")
    arrays = catalogue(lenses)
    sample = catalogue(min(lenses, 500), seed=2)
    worst = float(np.abs(assess_fast(sample).chance - assess_arrays(sample).chance).max())
    if worst > 0.005:
        sys.exit(f"The fast path is {worst:.4f} off the exact one; no time counts.")
    looped = min(lenses, 300)
    lens, reports = one_lens()
    figures = {
        "lenses": lenses,
        "reports": len(arrays.report_lens),
        "readings": len(arrays.reading_av),
        "largest error of the fast path": worst,
    }
    acts = {
        "whole catalogue": (lambda: assess_fast(arrays), options.repeats, 1.0),
        "one pass over the readings": (lambda: one_pass(arrays), options.repeats, 1.0),
        "statsmodels loop, scaled up": (lambda: statsmodels_loop(arrays, looped), 1, lenses / looped),
        "one lens": (lambda: assess_lens(lens, reports), 300, 1.0),
    }
    for name, (act, repeats, scale) in acts.items():
        wall, cpu = timed(act, repeats)
        figures[f"{name}, wall s"], figures[f"{name}, CPU s"] = wall * scale, cpu * scale
    for clock in ("wall", "CPU"):
        whole = figures[f"whole catalogue, {clock} s"]
        figures[f"whole / one pass, {clock}"] = whole / figures[f"one pass over the readings, {clock} s"]
        figures[f"statsmodels loop / whole, {clock}"] = (
            figures[f"statsmodels loop, scaled up, {clock} s"] / whole
        )
    print("| figure | value |\n| --- | --- |")
    for name, value in figures.items():
        print(f"| {name} | {value:,.4g} |" if isinstance(value, float) else f"| {name} | {value:,} |")
    if options.record:
        rows = [{"figure": name, "value": value} for name, value in figures.items()]
        record("consensus_speed", rows, seed=1, cores=os.cpu_count())


if __name__ == "__main__":
    main()
