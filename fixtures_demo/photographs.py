"""The circle's test frames: each planned evening rendered by the project's own simulation, as camera files."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from fixtures_demo.plans import PlannedReport
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene
from registry.simulation.scenery import render_scenery

FRAME_SIZE = (1200, 800)
REFERENCE_F_NUMBER = 8.0


@dataclass(frozen=True)
class Camera:
    """What a body writes into its files."""

    maker: str
    model: str
    half_diagonal_mm: float


def limit_av(plan: PlannedReport, focal_mm: float) -> float:
    octaves = float(np.log2(focal_mm / plan.lens.focal_min_mm))
    return plan.behaviour.limit_av(cut_on_nm=plan.cut_on_nm, octaves=octaves, shift=plan.shift)


def scene_of(plan: PlannedReport, focal_mm: float, camera: Camera) -> Scene:
    """The set-up of one sweep. The patch gets all of its strength from behaviour.py: wavelength is in there."""
    rng = np.random.default_rng(plan.seed)
    behaviour = plan.behaviour
    strength = behaviour.excess_ev(REFERENCE_F_NUMBER, limit_av(plan, focal_mm))
    patch = Patch(
        strength_ev=strength,
        radius=behaviour.radius,
        shape=behaviour.shape,
        reference_f_number=REFERENCE_F_NUMBER,
        growth=behaviour.growth,
        tint_rg=behaviour.tint_rg,
        tint_bg=behaviour.tint_bg,
        by_cut_on=((720, 1.0),),
        centre=tuple(rng.normal(0, 0.012, 2)),
    )
    return Scene(
        focal_length_mm=focal_mm,
        half_diagonal_mm=camera.half_diagonal_mm,
        widest=plan.lens.stops_at(focal_mm)[0],
        projection="fisheye"
        if "fisheye" in plan.lens.slug or "circular" in plan.lens.slug
        else "rectilinear",
        vignetting_ev=float(rng.uniform(0.4, 1.6)),
        telecentric_factor=float(rng.uniform(0.55, 0.85)),
        cut_on_nm=plan.cut_on_nm,
        patch=patch,
        tilt_ev=float(abs(rng.normal(0, 0.06))),
        tilt_direction_deg=float(rng.uniform(0, 360)),
        unevenness_ev=0.003,
        dust_specks=int(rng.integers(0, 4)),
        dust_depth_ev=0.05,
        cast_rg=float(rng.normal(0.15, 0.05)),
        cast_bg=float(rng.normal(-0.05, 0.05)),
        level=0.3,
        drift_ev=0.03,
    )


def frame_bytes(
    plan: PlannedReport, focal_mm: float, f_number: float, index: int, camera: Camera, lens: str
) -> bytes:
    """One JPEG as the camera would write it."""
    scene = scene_of(plan, focal_mm, camera)
    # The figure on the ring is rounded; the simulation opens the iris to what the figure means.
    render = render_scenery if plan.scene_instead_of_target else render_frame
    rendered = render(
        scene, f_number=max(f_number, scene.widest), size=FRAME_SIZE, seed=plan.seed % 2**31, frame=index
    )
    shot_at = datetime.datetime.combine(plan.day, datetime.time(19, 30)) + datetime.timedelta(
        seconds=20 * index
    )
    exif = CameraExif(
        maker=camera.maker,
        model=camera.model,
        lens=lens,
        exposure_seconds=Fraction(round(f_number**2 * 10), 40_000),
        iso=200,
        taken_at=shot_at,
    )
    return write_jpeg(rendered, exif=exif, quality=90)
