"""Reference pictures of the eye grades: what a hotspot of a known excess looks like on a plain target."""

from __future__ import annotations

from functools import lru_cache

from scipy.optimize import brentq

from registry.simulation.checks import one_of
from registry.simulation.files import write_png
from registry.simulation.render import Rendered, render_frame, true_hotspot
from registry.simulation.scene import Patch, Scene

GRADE_EV = (0.02, 0.075, 0.2, 0.5, 0.9)
"""Excess of the reference picture of each eye grade 0–4, inside the grade's bounds (0.05, 0.1, 0.3, 0.7 EV)."""

REFERENCE_F_NUMBER = 8.0
REFERENCE_SIZE = (960, 640)


def _scene(strength_ev: float) -> Scene:
    return Scene(
        focal_length_mm=50,
        telecentric_factor=0.8,
        patch=Patch(strength_ev=strength_ev, radius=0.12, reference_f_number=REFERENCE_F_NUMBER),
        full_well_electrons=60_000,
    )


def reference_scene(excess_ev: float) -> Scene:
    """A scene whose true excess at REFERENCE_F_NUMBER is excess_ev (EV, 0 to 3)."""

    def surplus(strength_ev: float) -> float:
        truth = true_hotspot(_scene(strength_ev), f_number=REFERENCE_F_NUMBER, size=REFERENCE_SIZE)
        return truth.excess_ev - excess_ev

    return _scene(brentq(surplus, 0.0, 4.0, xtol=1e-7))


@lru_cache(maxsize=8)
def reference_picture(grade: int, *, size: tuple[int, int] = REFERENCE_SIZE) -> Rendered:
    """The reference picture of an eye grade, rendered with its truth; treat its pixels as read-only.

    Raises InvalidInput when the grade is none of 0 to 4.
    """
    one_of(grade, range(len(GRADE_EV)), "grade")
    scene = reference_scene(GRADE_EV[grade])
    return render_frame(scene, f_number=REFERENCE_F_NUMBER, size=size, seed=grade)


def reference_png(grade: int, *, size: tuple[int, int] = REFERENCE_SIZE) -> bytes:
    """The reference picture of an eye grade as an sRGB PNG. Raises as reference_picture does."""
    return write_png(reference_picture(grade, size=size), compress_level=6)
