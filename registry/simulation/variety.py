"""Set-ups as different as contributors' are, drawn at random: for benches, demonstrations and tests in bulk.

The ranges are our judgement of what lenses, sensors and improvised targets do; no survey stands behind them.
"""

from __future__ import annotations

import numpy as np

from registry.simulation.render import true_hotspot
from registry.simulation.scene import PATCH_SHAPES, Ghost, Patch, Scene
from registry.simulation.truth import LUMINANCE

_HALF_DIAGONALS_MM = (21.63, 14.2, 10.8)
_WIDEST = (1.4, 1.8, 2.0, 2.8, 3.5, 4.0)
_BRIGHTEST_LEVEL = 0.85
_CAREFUL_LEVEL = 0.7


def draw_patch(rng: np.random.Generator) -> Patch:
    """A hotspot of any shape, 0.01 to 1.2 EV at f/8, soft or hard, mostly near the centre."""
    off_centre = 0.02 if rng.random() < 0.9 else 0.06
    return Patch(
        strength_ev=float(np.exp(rng.uniform(np.log(0.01), np.log(1.2)))),
        radius=float(np.exp(rng.uniform(np.log(0.06), np.log(0.35)))),
        shape=str(rng.choice(PATCH_SHAPES)),
        growth=float(rng.uniform(0.0, 2.0)),
        shrink=float(rng.uniform(0.3, 1.0)),
        edge=float(rng.uniform(0.05, 0.4)),
        hardening=float(rng.uniform(0.0, 0.8)),
        blades=int(rng.integers(5, 12)),
        rotation_deg=float(rng.uniform(0, 72)),
        ring_fill=float(rng.uniform(0.2, 0.8)),
        ring_inner=float(rng.uniform(0.4, 0.75)),
        skirt_share=float(rng.uniform(0.1, 0.4)),
        skirt_reach=float(rng.uniform(1.7, 3.5)),
        tint_rg=float(rng.normal(0, 0.06)),
        tint_bg=float(rng.normal(0, 0.06)),
        centre=tuple(float(offset) for offset in rng.normal(0, off_centre, 2)),
    )


def draw_scene(rng: np.random.Generator, *, with_patch: bool = True) -> Scene:
    """A set-up with a lens of 14 to 300 mm, its falloff, an improvised target, a sensor, and maybe a hotspot."""
    half_diagonal = float(rng.choice(_HALF_DIAGONALS_MM))
    cast_rg, cast_bg = (float(cast) for cast in rng.normal(0.1, 0.25, 2))
    profiled = rng.random() < 0.35
    return Scene(
        focal_length_mm=float(np.exp(rng.uniform(np.log(14), np.log(300)))) * half_diagonal / 21.63,
        half_diagonal_mm=half_diagonal,
        widest=float(rng.choice(_WIDEST)),
        pupil_growth=float(rng.uniform(0, 1.2)),
        telecentric_factor=float(rng.uniform(0.5, 1.05)),
        vignetting_ev=float(rng.uniform(0, 2.0)),
        vignetting_onset=float(rng.uniform(0.05, 0.65)),
        vignetting_power=float(rng.uniform(1.0, 2.5)),
        profile_correction=float(rng.uniform(0.4, 1.1)) if profiled else 0.0,
        cut_on_nm=float(rng.choice([590, 630, 665, 720, 830])),
        patch=draw_patch(rng) if with_patch else None,
        ghosts=(_draw_ghost(rng),) if rng.random() < 0.1 else (),
        tilt_ev=abs(float(rng.normal(0, 0.08))),
        tilt_direction_deg=float(rng.uniform(0, 360)),
        unevenness_ev=abs(float(rng.normal(0, 0.006))),
        texture_ev=abs(float(rng.normal(0, 0.004))) if rng.random() < 0.5 else 0.0,
        texture_scale=float(rng.uniform(0.005, 0.03)),
        dust_specks=int(rng.poisson(1.5)),
        cast_rg=cast_rg,
        cast_bg=cast_bg,
        shading_rg=float(rng.normal(0, 0.03)),
        shading_bg=float(rng.normal(0, 0.03)),
        level=min(float(rng.uniform(0.15, 0.5)), _BRIGHTEST_LEVEL * 2.0 ** -max(cast_rg, cast_bg, 0.0) / 1.6),
        full_well_electrons=float(np.exp(rng.uniform(np.log(4_000), np.log(60_000)))),
        drift_ev=0.03,
    )


def careful_exposure_ev(scene: Scene, f_number: float, size: tuple[int, int]) -> float:
    """What a photographer who looks at the histogram takes off the exposure, EV ≤ 0, so that no patch clips."""
    channels = np.exp2([scene.cast_rg, 0.0, scene.cast_bg])
    peak = true_hotspot(scene, f_number=f_number, size=size).peak_ev
    brightest = scene.level * channels.max() / (channels @ LUMINANCE) * 2.0 ** (peak + scene.tilt_ev)
    return min(0.0, float(np.log2(_CAREFUL_LEVEL / brightest)))


def _draw_ghost(rng: np.random.Generator) -> Ghost:
    angle, distance = rng.uniform(0, 2 * np.pi), rng.uniform(0.35, 0.7)
    return Ghost(
        centre=(float(distance * np.cos(angle)), float(distance * np.sin(angle))),
        radius=float(rng.uniform(0.04, 0.1)),
        strength_ev=float(rng.uniform(0.01, 0.08)),
    )
