"""How right the measurement is, on simulated frames and sweeps whose truth is known, beside two off-the-shelf ways.

    python tests/benchmarks/measurement_accuracy.py [--frames 1000] [--sweeps 60] [--seed 1] [--out FILE]

The rivals are a radial profile from a general astronomy photometry package (photutils' RadialProfile around the
brightest smoothed point, centre against the ring from 0.35 to 0.45) and a plain ratio of the frame's centre to a
ring around it. Scenes come from registry.simulation.variety, which shares no code with the measurement.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the site and its workers run

import argparse
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from photutils.profiles import RadialProfile
from scipy.ndimage import gaussian_filter

from registry.optics.linear_image import LinearImage
from registry.photometry.frame import measure_frame
from registry.photometry.measurement import MEASURED, REJECTED, UNCERTAIN
from registry.photometry.sweep import SweepFrame, measure_sweep
from registry.simulation.reduced import as_linear_image
from registry.simulation.render import render_frame, render_sweep
from registry.simulation.variety import draw_scene

SIZE = (384, 256)
VISIBLE_EV, SURELY_HOT_EV, SURELY_CLEAN_EV = 0.10, 0.15, 0.005
STOPS = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0)
KINDS = ("jpeg", "jpeg", "tiff", "raw")


@dataclass(frozen=True)
class Outcome:
    """One frame: the truth, and what a way of measuring said. group: how it is told apart in the table."""

    truth: float
    status: str
    ev: float
    low: float
    high: float
    group: str


def singles(count: int, rng: np.random.Generator) -> Iterable[tuple[LinearImage, object, float, float, str]]:
    for _ in range(count):
        scene = draw_scene(rng, with_patch=bool(rng.random() < 0.65))
        f_number = float(rng.choice([stop for stop in STOPS if stop >= scene.widest]))
        rendered = render_frame(scene, f_number=f_number, size=SIZE, seed=int(rng.integers(2**31)))
        kind = str(rng.choice(KINDS))
        shape = scene.patch.shape if scene.patch else "no patch"
        yield as_linear_image(rendered, kind=kind), scene, f_number, rendered.truth.excess_ev, shape


def our_outcome(found, truth: float, group: str) -> Outcome:
    if found.status == REJECTED:
        return Outcome(truth, REJECTED, 0.0, 0.0, 0.0, group)
    return Outcome(truth, found.status, found.ev, found.ev_low, found.ev_high, group)


def radial_profile_ev(image: LinearImage) -> float:
    light = image.luminance
    half_diagonal = np.hypot(*light.shape) / 2
    smooth = gaussian_filter(light, 3)
    height, width = light.shape
    inner = np.zeros_like(smooth, dtype=bool)
    inner[height // 4 : -height // 4, width // 4 : -width // 4] = True
    y, x = np.unravel_index(np.argmax(np.where(inner, smooth, -np.inf)), light.shape)
    profile = RadialProfile(light, (x, y), np.array([0, 0.03, 0.35, 0.45]) * half_diagonal).profile
    return max(0.0, float(np.log2(profile[0] / profile[2])))


def centre_ratio_ev(image: LinearImage) -> float:
    light = image.luminance
    height, width = light.shape
    y, x = np.mgrid[:height, :width]
    radius = np.hypot(x - (width - 1) / 2, y - (height - 1) / 2) / (np.hypot(height, width) / 2)
    centre, ring = light[radius < 0.06].mean(), light[(radius > 0.35) & (radius < 0.45)].mean()
    return max(0.0, float(np.log2(centre / ring)))


def plain_outcome(
    way: Callable[[LinearImage], float], image: LinearImage, truth: float, group: str
) -> Outcome:
    ev = way(image)
    return Outcome(truth, MEASURED, ev, ev, ev, group)


def summary(name: str, outcomes: list[Outcome]) -> dict:
    judged = [one for one in outcomes if one.status == MEASURED]
    error = np.array([one.ev - one.truth for one in judged]) if judged else np.zeros(1)
    covered = [one.low - 1e-9 <= one.truth <= one.high + 1e-9 for one in judged]
    clean = [one for one in outcomes if one.truth < SURELY_CLEAN_EV]
    hot = [one for one in outcomes if one.truth >= SURELY_HOT_EV]
    return {
        "what": name,
        "frames": len(outcomes),
        "refused": sum(one.status == REJECTED for one in outcomes) / max(len(outcomes), 1),
        "uncertain": sum(one.status == UNCERTAIN for one in outcomes) / max(len(outcomes), 1),
        "bias": float(error.mean()),
        "rmse": float(np.sqrt((error**2).mean())),
        "p95": float(np.quantile(np.abs(error), 0.95)),
        "coverage": float(np.mean(covered)) if covered else float("nan"),
        "false visible": sum(one.status == MEASURED and one.ev >= VISIBLE_EV and one.low > 0 for one in clean)
        / max(len(clean), 1),
        "false clean": sum(one.status == MEASURED and one.ev < VISIBLE_EV for one in hot) / max(len(hot), 1),
    }


def table(rows: list[dict]) -> str:
    heads = list(rows[0])
    lines = ["| " + " | ".join(heads) + " |", "| " + " | ".join("---" for _ in heads) + " |"]
    for row in rows:
        cells = [f"{value:.4f}" if isinstance(value, float) else str(value) for value in row.values()]
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines)


def bench_singles(count: int, seed: int) -> list[dict]:
    ours, profile, ratio = [], [], []
    for image, scene, f_number, truth, group in singles(count, np.random.default_rng(seed)):
        found = measure_frame(
            image,
            f_number=f_number,
            focal_length_mm=scene.focal_length_mm,
            half_diagonal_mm=scene.half_diagonal_mm,
        )
        ours.append(our_outcome(found, truth, group))
        profile.append(plain_outcome(radial_profile_ev, image, truth, group))
        ratio.append(plain_outcome(centre_ratio_ev, image, truth, group))
    rows = [summary("single frames", ours)]
    rows += [
        summary(f"… {group}", [one for one in ours if one.group == group])
        for group in sorted({one.group for one in ours})
    ]
    return [*rows, summary("photutils radial profile", profile), summary("centre to annulus", ratio)]


def bench_sweeps(count: int, seed: int) -> list[dict]:
    rng = np.random.default_rng(seed + 1)
    everything, widest = [], []
    for _ in range(count):
        scene = draw_scene(rng, with_patch=bool(rng.random() < 0.75))
        stops = [stop for stop in STOPS if stop >= scene.widest]
        shots = render_sweep(scene, stops, size=SIZE, seed=int(rng.integers(2**31)))
        frames = [
            SweepFrame(as_linear_image(shot), stop, scene.focal_length_mm, scene.half_diagonal_mm)
            for shot, stop in zip(shots, stops, strict=True)
        ]
        outcomes = [
            our_outcome(found, shot.truth.excess_ev, "sweep")
            for found, shot in zip(measure_sweep(frames), shots, strict=True)
        ]
        everything += outcomes
        widest += outcomes[:2]
    return [summary("sweeps", everything), summary("… two widest stops", widest)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=1000)
    parser.add_argument("--sweeps", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="100 frames and 6 sweeps")
    parser.add_argument("--out", help="also write the rows as JSON")
    asked = parser.parse_args()
    frames, sweeps = (100, 6) if asked.quick else (asked.frames, asked.sweeps)
    rows = bench_singles(frames, asked.seed) + bench_sweeps(sweeps, asked.seed)
    print(table(rows))
    if asked.out:
        with open(asked.out, "w", encoding="utf-8") as file:
            json.dump(rows, file, indent=1)


if __name__ == "__main__":
    main()
