"""What a planned evening turns into: the nested data that any program files a report with."""

from __future__ import annotations

from typing import Any

import numpy as np

from fixtures_demo.behaviour import VISIBLE_EV, grade_of
from fixtures_demo.photographs import limit_av
from fixtures_demo.plans import LIGHTS, SITES, TARGETS, PlannedReport

EYE_SPREAD = 0.18  # relative spread of what testers' eyes make of one excess
FINDINGS = ("corner-softness", "focus-shift", "flare", "false-colour-cast")


def report_data(plan: PlannedReport, gear: dict[str, str]) -> dict[str, Any]:
    """gear: slug by name of bodies, filters, teleconverters and adapters."""
    rng = np.random.default_rng(plan.seed)
    data: dict[str, Any] = {
        "lens": plan.lens.slug,
        "basis": _basis(plan),
    }
    for name in ("teleconverter", "adapter"):
        if getattr(plan, name):
            data[name] = gear[getattr(plan, name)]
    if plan.basis == "relayed":
        return data | plan.source | {"cut_on_nm": plan.cut_on_nm, "claims": [_claim(plan, rng)]}
    data |= _set_up(plan, gear, rng)
    if plan.basis == "claimed":
        data["claims"] = [_claim(plan, rng)]
    elif plan.basis == "graded":
        data["sweeps"] = [_sweep(plan, focal, rng) for focal in plan.focal_lengths]
    if rng.random() < 0.35:
        data["findings"] = [{"kind": str(rng.choice(FINDINGS)), "grade": int(rng.integers(0, 4))}]
    return data


def _basis(plan: PlannedReport) -> str:
    if plan.scene_instead_of_target:
        return "graded"  # what was photographed cannot be measured
    return plan.basis if plan.basis in ("measured", "relayed") else "graded"


def _set_up(plan: PlannedReport, gear: dict[str, str], rng: np.random.Generator) -> dict[str, Any]:
    rig = plan.rig
    data: dict[str, Any] = {
        "rig": {"body": gear[rig.body], "conversion": rig.conversion, "cut_on_nm": rig.cut_on_nm},
        "copy": {"label": plan.copy_label, "serial_number": plan.serial_number},
        "filter_position": plan.filter_position,
        "place": str(rng.choice(SITES)),
        "target": str(rng.choice(TARGETS)),
        "light": str(rng.choice(LIGHTS)),
        "shot_on": plan.day.isoformat(),
    }
    if plan.filter:
        data["filter"] = gear[plan.filter]
    return data


def _excess(plan: PlannedReport, focal_mm: float, f_number: float) -> float:
    if plan.blunder:
        return 0.5
    return plan.behaviour.excess_ev(f_number, limit_av(plan, focal_mm))


def _sweep(plan: PlannedReport, focal_mm: float, rng: np.random.Generator) -> dict[str, Any]:
    eye = float(np.exp(rng.normal(0, EYE_SPREAD)))  # one tester's eye is the same all evening
    return {
        "focal_length_mm": focal_mm,
        "readings": [
            {"f_number": stop, "grade": grade_of(_excess(plan, focal_mm, stop) * eye)}
            for stop in plan.lens.stops_at(focal_mm)
        ],
    }


def _claim(plan: PlannedReport, rng: np.random.Generator) -> dict[str, Any]:
    focal = plan.focal_lengths[0]
    if rng.random() < 0.08:
        return {"says": "mixed", "focal_length_mm": focal}
    stops = plan.lens.stops_at(focal)
    clean = [stop for stop in stops if _excess(plan, focal, stop) < VISIBLE_EV]
    if len(clean) == len(stops):
        return {"says": "clean_all", "focal_length_mm": focal}
    if not clean:
        return {"says": "hot_all", "focal_length_mm": focal}
    return {"says": "clean_to", "f_number": clean[-1], "focal_length_mm": focal}


def grades_by_eye(plan: PlannedReport, focal_mm: float) -> dict[float, int]:
    """What the tester's own eyes say of each stop, for frames that could not be measured."""
    return {stop: grade_of(_excess(plan, focal_mm, stop)) for stop in plan.lens.stops_at(focal_mm)}
