"""The shot list of a lens with one's own gear, and of a report what is still to be taken."""

from __future__ import annotations

from registry.gear.models import Adapter, Filter, Lens, Teleconverter
from registry.reports.models import Report, Rig, SampleImage
from registry.reports.rules.light import VISIBLE, effective_cut_on
from registry.shotlists.facts import CameraFacts, LensFacts
from registry.shotlists.missing import Missing, Taken, missing_shots
from registry.shotlists.shot_list import ShotList, shot_list_for


def shot_list_of(
    lens: Lens,
    *,
    rig: Rig | None = None,
    filter: Filter | None = None,
    teleconverter: Teleconverter | None = None,
    adapter: Adapter | None = None,
) -> ShotList:
    """What to photograph to test a lens. rig: need not be saved; None where it is not known."""
    magnification = (teleconverter.magnification if teleconverter else 1.0) * (
        adapter.magnification if adapter else 1.0
    )
    facts = LensFacts(
        lens.focal_min_mm,
        lens.focal_max_mm,
        lens.widest_f,
        lens.widest_f_tele,
        lens.narrowest_f,
        magnification,
    )
    cut_on_nm, group = effective_cut_on(rig, filter)
    camera = CameraFacts(
        conversion=rig.conversion if rig else None,
        has_filter=filter is not None,
        cut_on_nm=cut_on_nm,
        sees_infrared=group != VISIBLE,
    )
    return shot_list_for(facts, camera)


def shot_list_of_report(report: Report) -> ShotList:
    """What was to be photographed for a report."""
    return shot_list_of(
        report.lens,
        rig=report.rig,
        filter=report.filter,
        teleconverter=report.teleconverter,
        adapter=report.adapter,
    )


def missing_of_report(report: Report, images: list[SampleImage]) -> tuple[Missing, ...]:
    """What of its shot list a report's pictures do not show."""
    taken = [Taken(image.f_number, image.focal_length_mm, image.purpose) for image in images]
    return missing_shots(shot_list_of_report(report), taken)
