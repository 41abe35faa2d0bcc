"""Frames of known truth for these tests, by the project's own simulation."""

from __future__ import annotations

from registry.photometry.frame import measure_frame
from registry.photometry.sweep import SweepFrame
from registry.simulation.reduced import as_linear_image
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene

SIZE = (384, 256)


def target(patch: Patch | None = None, **light) -> Scene:
    """An honest target: falloff, a little vignetting and tilt, noise."""
    plain = {
        "focal_length_mm": 50.0,
        "widest": 2.0,
        "vignetting_ev": 0.8,
        "telecentric_factor": 0.8,
        "tilt_ev": 0.04,
    }
    return Scene(**{**plain, **light}, patch=patch)


def patch(strength_ev: float = 0.3, **shape) -> Patch:
    return Patch(
        **{"strength_ev": strength_ev, "radius": 0.14, "shape": "disc", "by_cut_on": ((720, 1.0),), **shape}
    )


def photograph(scene: Scene, f_number: float = 8.0, *, seed: int = 1, kind: str = "tiff", frame: int = 0):
    """The reduced image and the truth."""
    rendered = render_frame(scene, f_number=f_number, size=SIZE, seed=seed, frame=frame)
    return as_linear_image(rendered, kind=kind), rendered.truth


def measured(scene: Scene, f_number: float = 8.0, **how):
    image, truth = photograph(scene, f_number, **how)
    found = measure_frame(
        image,
        f_number=f_number,
        focal_length_mm=scene.focal_length_mm,
        half_diagonal_mm=scene.half_diagonal_mm,
    )
    return found, truth


def sweep_of(scene: Scene, f_numbers, *, seed: int = 1):
    """Frames as a sweep takes them, and their truths."""
    shots = [photograph(scene, n, seed=seed, frame=index) for index, n in enumerate(f_numbers)]
    frames = [
        SweepFrame(image, n, scene.focal_length_mm, scene.half_diagonal_mm)
        for (image, _), n in zip(shots, f_numbers, strict=True)
    ]
    return frames, [truth for _, truth in shots]
