"""How right the measurement is, on simulated frames and sweeps whose truth is known, beside two off-the-shelf ways.

    python tests/benchmarks/measurement_accuracy.py [--frames 2000] [--sweeps 100] [--seed 1] [--record]

The rivals are a radial profile from a general astronomy photometry package (photutils' RadialProfile around the
brightest smoothed point, centre against the ring from 0.35 to 0.45) and a plain ratio of the frame's centre to a
ring around it. Scenes come from registry.simulation.variety, which shares no code with the measurement. --record
keeps the table for the method page.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the site and its workers run
HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import numpy as np
from consensus_record import record
from photutils.profiles import RadialProfile
from scipy.ndimage import gaussian_filter

from registry.optics.linear_image import LinearImage
from registry.photometry.frame import measure_frame
from registry.photometry.measurement import MEASURED, REJECTED, UNCERTAIN
from registry.photometry.sweep import SweepFrame, measure_sweep
from registry.simulation.reduced import as_linear_image
from registry.simulation.render import Rendered, render_frame
from registry.simulation.scene import Scene
from registry.simulation.stray import patch_at
from registry.simulation.variety import careful_exposure_ev, draw_scene

SIZE = (384, 256)
VISIBLE_EV, SURELY_HOT_EV, SURELY_CLEAN_EV = 0.10, 0.15, 0.005
STOPS = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0)
KINDS = ("jpeg", "jpeg", "tiff", "raw")


REACHES = 0.4
"""A patch or skirt wider than this (half-diagonals) is a veil over the frame more than a hotspot, and one frame can't
tell it from falloff; its rows stand by themselves."""

PROPER, VEIL = (
    f"{kind} {REACHES} half-diagonals" for kind in ("clean, or a patch within", "a patch or skirt beyond")
)


@dataclass(frozen=True)
class Outcome:
    """One frame: the truth, and what a way of measuring said. groups: rows of the table that it belongs to."""

    truth: float
    status: str
    ev: float
    low: float
    high: float
    groups: tuple[str, ...] = ()


def photographed(scene: Scene, f_number: float, seed: int, frame: int = 0, drift_ev: float = 0.0) -> Rendered:
    exposure_ev = careful_exposure_ev(scene, f_number, SIZE) + drift_ev
    return render_frame(scene, f_number=f_number, size=SIZE, seed=seed, frame=frame, exposure_ev=exposure_ev)


def groups_of(scene: Scene, f_number: float) -> tuple[str, ...]:
    if scene.patch is None:
        return "no patch", PROPER
    now = patch_at(scene.patch, f_number, scene.cut_on_nm)
    reach = now.radius * (scene.patch.skirt_reach if scene.patch.shape == "skirted" else 1)
    return scene.patch.shape, PROPER if reach <= REACHES else VEIL


def singles(count: int, rng: np.random.Generator) -> Iterable[tuple[Rendered, LinearImage]]:
    for _ in range(count):
        scene = draw_scene(rng, with_patch=bool(rng.random() < 0.65))
        f_number = float(rng.choice([stop for stop in STOPS if stop >= scene.widest]))
        shot = photographed(scene, f_number, int(rng.integers(2**31)))
        yield shot, as_linear_image(shot, kind=str(rng.choice(KINDS)))


def our_outcome(found, shot: Rendered) -> Outcome:
    truth, groups = shot.truth.excess_ev, groups_of(shot.scene, shot.f_number)
    if found.status == REJECTED:
        return Outcome(truth, REJECTED, 0.0, 0.0, 0.0, groups)
    return Outcome(truth, found.status, found.ev, found.ev_low, found.ev_high, groups)


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


def plain_outcome(way: Callable[[LinearImage], float], image: LinearImage, truth: float) -> Outcome:
    ev = way(image)
    return Outcome(truth, MEASURED, ev, ev, ev)


def summary(name: str, outcomes: list[Outcome]) -> dict:
    judged = [one for one in outcomes if one.status == MEASURED]
    error = np.array([one.ev - one.truth for one in judged]) if judged else np.zeros(1)
    covered = [one.low - 1e-9 <= one.truth <= one.high + 1e-9 for one in judged]
    clean = [one for one in outcomes if one.truth < SURELY_CLEAN_EV]
    hot = [one for one in outcomes if one.truth >= SURELY_HOT_EV]
    return {
        "way": name,
        "frames": len(outcomes),
        "refused": sum(one.status == REJECTED for one in outcomes) / max(len(outcomes), 1),
        "left uncertain": sum(one.status == UNCERTAIN for one in outcomes) / max(len(outcomes), 1),
        "mean error, EV": float(error.mean()),
        "root mean square error, EV": float(np.sqrt((error**2).mean())),
        "95 % of errors below, EV": float(np.quantile(np.abs(error), 0.95)),
        "truth inside the interval": float(np.mean(covered)) if covered else float("nan"),
        "clean called visible": sum(
            one.status == MEASURED and one.ev >= VISIBLE_EV and one.low > 0 for one in clean
        )
        / max(len(clean), 1),
        "hot called clean": sum(one.status == MEASURED and one.ev < VISIBLE_EV for one in hot)
        / max(len(hot), 1),
    }


DIGITS = 4


def rounded(rows: list[dict]) -> list[dict]:
    return [
        {head: round(value, DIGITS) if isinstance(value, float) else value for head, value in row.items()}
        for row in rows
    ]


def table(rows: list[dict]) -> str:
    """The rows as a Markdown table; all have the first one's columns."""
    heads = list(rows[0])
    lines = ["| " + " | ".join(heads) + " |", "| " + " | ".join("---" for _ in heads) + " |"]
    return "\n".join(
        [*lines, *("| " + " | ".join(str(value) for value in row.values()) + " |" for row in rows)]
    )


def bench_singles(count: int, seed: int) -> list[dict]:
    ours, profile, ratio = [], [], []
    for shot, image in singles(count, np.random.default_rng(seed)):
        scene, truth = shot.scene, shot.truth.excess_ev
        found = measure_frame(
            image,
            f_number=shot.f_number,
            focal_length_mm=scene.focal_length_mm,
            half_diagonal_mm=scene.half_diagonal_mm,
        )
        ours.append(our_outcome(found, shot))
        profile.append(plain_outcome(radial_profile_ev, image, truth))
        ratio.append(plain_outcome(centre_ratio_ev, image, truth))
    rows = [
        summary("single frames", ours),
        summary(f"… {PROPER}", [one for one in ours if PROPER in one.groups]),
    ]
    for group in sorted({group for one in ours for group in one.groups} - {PROPER}):
        rows.append(summary(f"… {group}", [one for one in ours if group in one.groups]))
    return [*rows, summary("photutils radial profile", profile), summary("centre to annulus", ratio)]


def bench_sweeps(count: int, seed: int) -> list[dict]:
    rng = np.random.default_rng(seed + 1)
    everything, widest, proper = [], [], []
    for _ in range(count):
        scene = draw_scene(rng, with_patch=bool(rng.random() < 0.75))
        target = int(rng.integers(2**31))
        shots = [
            photographed(scene, stop, target, index, float(rng.normal(0, scene.drift_ev)))
            for index, stop in enumerate(stop for stop in STOPS if stop >= scene.widest)
        ]
        frames = [
            SweepFrame(as_linear_image(shot), shot.f_number, scene.focal_length_mm, scene.half_diagonal_mm)
            for shot in shots
        ]
        outcomes = [
            our_outcome(found, shot) for found, shot in zip(measure_sweep(frames), shots, strict=True)
        ]
        everything += outcomes
        widest += outcomes[:2]
        proper += [one for one in outcomes if PROPER in one.groups]
    rows = {"sweeps": everything, "… two widest stops": widest, f"… {PROPER}": proper}
    return [summary(name, outcomes) for name, outcomes in rows.items()]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=2000)
    parser.add_argument("--sweeps", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--quick", action="store_true", help="100 frames and 6 sweeps")
    parser.add_argument("--record", action="store_true", help="keep the table for the method page")
    asked = parser.parse_args()
    frames, sweeps = (100, 6) if asked.quick else (asked.frames, asked.sweeps)
    rows = rounded(bench_singles(frames, asked.seed) + bench_sweeps(sweeps, asked.seed))
    print(table(rows))
    if asked.record:
        record("measurement_accuracy", rows, seed=asked.seed)


if __name__ == "__main__":
    main()
