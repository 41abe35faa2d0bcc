"""How fast kits are planned, as ratios to one thing that runs in the same minute on the same machine.

Baseline: one bare linear programme of the same size solved by HiGHS through SciPy (the relaxation of the first
aim), since no plan can be had for less. First shows that plan and relaxation agree as they must: the relaxed cost
is no higher. Run: python -m tests.benchmarks.kit_plan_speed
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from registry.kits import planning
from registry.kits.bag import BagLens, FrontFilter, Need, Prices

THREADS = (37, 39, 40.5, 43, 46, 49, 52, 55, 58, 60, 62, 67, 72, 77, 82, 86, 95, 105, 112, 127)
FOCALS = (14.0, 24.0, 35.0, 85.0)


def bag(lenses: int, diameters: int) -> list[BagLens]:
    """Lenses over so many thread diameters, wide ones among them."""
    sizes = [float(one) for one in THREADS[-diameters:]]
    return [
        BagLens(f"lens {index}", sizes[index % diameters], FOCALS[index // 3 % 4]) for index in range(lenses)
    ]


def prices(cut_ons: tuple[float, ...]) -> Prices:
    """Filters dearer with their size, as they are; rings at one price."""
    return Prices(
        {FrontFilter(nm, float(size)): round(20 + 0.9 * size, 2) for nm in cut_ons for size in THREADS},
        ring=7.5,
    )


def seconds(act: Callable[[], object], rounds: int = 3) -> float:
    """Median processor seconds of one call."""
    taken = []
    for _ in range(rounds):
        begun = time.process_time()
        act()
        taken.append(time.process_time() - begun)
    return statistics.median(taken)


def relaxed(program) -> float:
    """The first aim's value when columns needn't be whole."""
    answer = milp(
        program.objectives["cost"],
        integrality=np.zeros(len(program.upper)),
        bounds=Bounds(0, program.upper),
        constraints=LinearConstraint(program.matrix, program.rows.lower, program.rows.upper),
    )
    return answer.fun


def compare(
    lenses: int, diameters: int, cut_ons: tuple[float, ...], share_rings: bool, alternatives: int
) -> None:
    """Print one line: seconds of a plan, and its ratio to the baseline."""
    request = (bag(lenses, diameters), Need(cut_ons), None, prices(cut_ons))
    programs = []
    build = planning.build_program
    planning.build_program = lambda choice: programs.append(build(choice)) or programs[-1]
    try:
        plan = planning.plan_kit(*request, share_rings=share_rings, max_alternatives=alternatives)
    finally:
        planning.build_program = build
    program = programs[-1]
    divisor = _divisor(program)
    assert relaxed(program) * divisor <= float(plan.kit.cost) * 100 + 1e-3
    base = seconds(lambda: relaxed(program))
    taken = seconds(
        lambda: planning.plan_kit(*request, share_rings=share_rings, max_alternatives=alternatives), 3
    )
    print(
        f"{lenses:4} lenses × {diameters:2} diameters, {len(cut_ons)} cut-on(s), rings "
        f"{'shared' if share_rings else 'apart '}, up to {alternatives} alternatives: {taken:6.2f} s, "
        f"{taken / base:6.1f} × one relaxed programme of {len(program.upper)} columns ({base * 1000:.0f} ms)",
        flush=True,
    )


def _divisor(program) -> int:
    """Hundredths that one unit of the programme's cost stands for."""
    offer, column = next(
        pair
        for pair in zip(program.choice.filters, program.filter_columns, strict=True)
        if program.objectives["cost"][pair[1]]
    )
    return offer.price // int(program.objectives["cost"][column])


if __name__ == "__main__":
    for case in (
        (8, 5, (720.0,), True, 5),
        (14, 8, (590.0, 720.0), True, 5),
        (60, 20, (720.0,), True, 0),
        (60, 20, (720.0,), True, 5),
        (60, 20, (720.0,), False, 5),
        (60, 20, (590.0, 720.0, 850.0), True, 0),
        (60, 20, (590.0, 720.0, 850.0), True, 5),
    ):
        compare(*case)
