"""Looking for copies of one account's frames among a lens's: one matrix product against a loop over all pairs.

Run it with `python -m tests.benchmarks.frames_alike`. First checks that both find the same pairs; then prints the
processor's time of the loop as a multiple of the product's, in the same run.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from registry.frames.residual import CELLS, LIKELY_COPY, likenesses


def grains(count: int, draw: np.random.Generator) -> list[bytes]:
    codes = np.clip(np.rint(draw.normal(0, 32, (count, CELLS**2))), -127, 127)
    return [row.tobytes() for row in codes.astype(np.int8)]


def copied(grain: bytes, draw: np.random.Generator) -> bytes:
    """A copy whose grain correlates by about .7."""
    codes = np.frombuffer(grain, dtype=np.int8) + draw.normal(0, 32, CELLS**2)
    return np.clip(np.rint(codes), -127, 127).astype(np.int8).tobytes()


def pair_by_pair(mine: list[bytes], others: list[bytes]) -> set[tuple[int, int]]:
    """The plain loop: the correlation of each pair by itself (numpy.corrcoef)."""
    found = set()
    for row, one in enumerate(mine):
        for column, other in enumerate(others):
            first, second = (np.frombuffer(data, dtype=np.int8).astype(float) for data in (one, other))
            if np.corrcoef(first, second)[0, 1] > LIKELY_COPY:
                found.add((row, column))
    return found


def by_product(mine: list[bytes], others: list[bytes]) -> set[tuple[int, int]]:
    rows, columns = (likenesses(mine, others) > LIKELY_COPY).nonzero()
    return set(zip(rows.tolist(), columns.tolist(), strict=True))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--mine", type=int, default=20, help="frames of the account (a sweep or two)")
    parser.add_argument("--others", type=int, default=400, help="frames of others on the lens")
    asked = parser.parse_args()
    draw = np.random.default_rng(3)
    mine, others = grains(asked.mine, draw), grains(asked.others, draw)
    others[7], others[11] = copied(mine[2], draw), copied(mine[5], draw)
    took, found = {}, {}
    for name, way in (("loop", pair_by_pair), ("product", by_product)):
        begun = time.process_time()
        found[name] = way(mine, others)
        took[name] = time.process_time() - begun
    assert found["loop"] == found["product"] == {(2, 7), (5, 11)}, found
    print(f"{asked.mine} × {asked.others} frames: both find the same {len(found['loop'])} pairs")
    print(f"the loop takes {took['loop'] / took['product']:.0f} times the product's processor time")


if __name__ == "__main__":
    main()
