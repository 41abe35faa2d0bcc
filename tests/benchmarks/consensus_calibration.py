"""Is the consensus as sure as it should be? Scores on simulated lenses, against rivals in the same run.

python tests/benchmarks/consensus_calibration.py [--lenses 300] [--quick] [--worlds home causes …]
    [--counts 1 3 5 10 30] [--seed 1] [--record]
Prints a Markdown table per world: Brier and log score of P(clean) per question stop for every method (lower is
better), coverage of the limit's 90 % interval, causes, and what a flood by one person moves. The simulator
shares nothing with the engine; worlds other than "home" have settings nobody tuned anything on. --record keeps
the figures for the method page.
"""

from __future__ import annotations

import argparse
import copy
import math
import pathlib
import sys
import time

import numpy as np

HERE = pathlib.Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

from consensus_record import record
from consensus_rivals import RIVALS
from consensus_simulator import WORLDS, Truth, simulate

from registry.consensus.exchange import consensus_of

OURS = "this method"
CLIP = 1e-3
FLOOD_EVERY = 10
TENTHS = 10


def main() -> None:
    options = _options()
    counts = options.counts
    results = {}
    for name in options.worlds:
        rows = [score(name, n, options.lenses, options.seed) for n in counts]
        results[name] = rows
        print(f"\n### World “{name}”, {options.lenses} lenses per count, seed {options.seed}\n")
        print(_table(rows), flush=True)
    floods = flood(options.lenses, options.seed)
    print(f"\n### One person against three\n\n{_flood_table(floods)}")
    if options.record:
        rows = [{"world": name, **row} for name, found in results.items() for row in found]
        record("consensus_calibration", rows, seed=options.seed, lenses=options.lenses, flood=floods)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--lenses", type=int, default=300)
    parser.add_argument("--counts", type=int, nargs="+", default=[1, 3, 5, 10, 30])
    parser.add_argument("--worlds", nargs="+", default=list(WORLDS), choices=list(WORLDS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="40 lenses, counts 1, 5 and 10, two worlds")
    parser.add_argument("--record", action="store_true", help="keep the figures for the method page")
    options = parser.parse_args()
    if options.quick:
        options.lenses, options.counts, options.worlds = 40, [1, 5, 10], ["home", "causes"]
    return options


def score(world: str, count: int, lenses: int, seed: int) -> dict:
    """Every figure of one world at one number of independent testers."""
    document, truths = simulate(WORLDS[world], count, lenses, seed)
    began = time.perf_counter()
    said = consensus_of(document)["cases"]
    seconds = time.perf_counter() - began
    chances = {OURS: {name: {float(s): p for s, p in a["p_clean"].items()} for name, a in said.items()}}
    for rival, answer in RIVALS.items():
        chances[rival] = {case["id"]: answer(case) for case in document["cases"]}
    chances["truth itself"] = {
        name: {stop: truth.chance(2 * math.log2(stop)) for stop in truth.outcomes}
        for name, truth in truths.items()
    }
    row = {"count": count, "seconds": seconds, "scores": {m: _scores(p, truths) for m, p in chances.items()}}
    row["said"] = _said_and_happened(chances[OURS], truths)
    return row | _coverage(said, truths) | _causes(said, truths) | _confidence(said, truths)


def _scores(chances: dict, truths: dict[str, Truth]) -> tuple[float, float]:
    """Mean Brier and log score over lenses and stops."""
    pairs = np.array(
        [
            (chances[name][stop], clean)
            for name, truth in truths.items()
            for stop, clean in truth.outcomes.items()
        ]
    )
    p, clean = np.clip(pairs[:, 0], CLIP, 1 - CLIP), pairs[:, 1]
    brier = float(np.mean((p - clean) ** 2))
    return brier, float(np.mean(-np.log(np.where(clean == 1, p, 1 - p))))


def _said_and_happened(chances: dict, truths: dict[str, Truth]) -> list[list[float]]:
    """Per tenth of the scale with any: mean chance said, share that came out clean, how many; [[…], …]."""
    said, clean = np.array(
        [
            (chances[name][stop], clean)
            for name, truth in truths.items()
            for stop, clean in truth.outcomes.items()
        ]
    ).T
    tenth = np.minimum((said * TENTHS).astype(int), TENTHS - 1)
    count = np.bincount(tenth, minlength=TENTHS)
    sums = (np.bincount(tenth, weights=values, minlength=TENTHS) for values in (said, clean))
    return [[a / n, b / n, int(n)] for a, b, n in zip(*sums, count, strict=True) if n]


def _coverage(said: dict, truths: dict[str, Truth]) -> dict:
    inside = [said[name]["limit_av"][0] <= t.limit <= said[name]["limit_av"][2] for name, t in truths.items()]
    width = np.mean([said[name]["limit_av"][2] - said[name]["limit_av"][0] for name in truths])
    return {"coverage": float(np.mean(inside)), "width": float(width)}


def _causes(said: dict, truths: dict[str, Truth]) -> dict:
    planted = {name: truth.cause for name, truth in truths.items() if truth.cause}
    plain = [name for name, truth in truths.items() if not truth.cause]
    named = {name: said[name]["explanation"] for name in truths}
    true = {name: {None, truth.cause, *truth.differs} for name, truth in truths.items()}
    share = lambda found, of: sum(found) / len(of) if of else None  # noqa: E731
    return {
        "planted": len(planted),
        "hits": share([named[name] == cause for name, cause in planted.items()], planted),
        "wrong": share([named[name] not in true[name] for name in planted], planted),
        "false_alarms": share([named[name] not in true[name] for name in plain], plain),
    }


def _confidence(said: dict, truths: dict[str, Truth]) -> dict:
    """Per confidence: how many state a stop, and the share whose true chance there is below a half."""
    stated: dict[str, list[bool]] = {}
    for name, truth in truths.items():
        verdict, confidence = said[name]["verdict"], said[name]["confidence"]
        if verdict.startswith("clean to f/"):
            stop = float(verdict.removeprefix("clean to f/"))
            stated.setdefault(confidence, []).append(truth.chance(2 * math.log2(stop)) < 0.5)
    return {"overstated": {key: [len(found), float(np.mean(found))] for key, found in sorted(stated.items())}}


def flood(lenses: int, seed: int) -> dict[str, float]:
    """Mean change of P over the flooded lenses' stops, by one wrong report and by twenty of one person.

    Every tenth lens is flooded, so that the catalogue as a whole teaches the priors what it did before.
    """
    document, _ = simulate(WORLDS["home"], 3, lenses, seed + 1)
    flooded = [case["id"] for case in document["cases"][::FLOOD_EVERY]]
    one, twenty = (_flooded(document, times) for times in (1, 20))
    ours = [consensus_of(each)["cases"] for each in (document, one, twenty)]
    moved = {OURS: [_moved(ours[0], after, flooded) for after in ours[1:]]}
    for rival, answer in RIVALS.items():
        answers = [
            {c["id"]: {"p_clean": answer(c)} for c in each["cases"]} for each in (document, one, twenty)
        ]
        moved[rival] = [_moved(answers[0], after, flooded) for after in answers[1:]]
    return moved


def _flooded(document: dict, times: int) -> dict:
    document = copy.deepcopy(document)
    for case in document["cases"][::FLOOD_EVERY]:
        stops = case["question_stops"]
        wrong = {
            **case["question"],
            "contributor": "flooder",
            "copy": "f",
            "source": None,
            "method": "visual",
        }
        readings = [{"f": stop, "grade": 3} for stop in stops]
        case["reports"] += [{**wrong, "id": f"flood-{n}", "readings": readings} for n in range(times)]
    return document


def _moved(before: dict, after: dict, lenses: list[str]) -> float:
    moves = [abs(after[k]["p_clean"][s] - p) for k in lenses for s, p in before[k]["p_clean"].items()]
    return float(np.mean(moves))


def _table(rows: list[dict]) -> str:
    methods = list(rows[0]["scores"])
    head = [
        "independent reports",
        *methods,
        "90 % covers",
        "width",
        "hits",
        "wrong",
        "false alarms",
        "seconds",
    ]
    lines = [_line(head), _line(["---"] * len(head))]
    for row in rows:
        scores = ["{:.4f}/{:.3f}".format(*row["scores"][method]) for method in methods]
        causes = ["–" if row[key] is None else f"{row[key]:.3f}" for key in ("hits", "wrong", "false_alarms")]
        tail = [f"{100 * row['coverage']:.1f} %", f"{row['width']:.2f}", *causes, f"{row['seconds']:.1f}"]
        lines.append(_line([row["count"], *scores, *tail]))
    return "\n".join(lines)


def _flood_table(moved: dict[str, list[float]]) -> str:
    lines = [_line(["method", "one wrong report moves P by", "twenty of one person by"]), _line(["---"] * 3)]
    return "\n".join(
        lines + [_line([m, *(f"{value:.3f}" for value in values)]) for m, values in moved.items()]
    )


def _line(cells: list) -> str:
    return f"| {' | '.join(str(cell) for cell in cells)} |"


if __name__ == "__main__":
    main()
