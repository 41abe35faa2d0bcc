"""Planning a test: the shot list of a lens with one's own gear, and of a report what is still to be taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from registry.accounts.models import Account
from registry.gear.models import Adapter, Filter, Lens, Teleconverter
from registry.optics.light_path import LONGEST_NM, SHORTEST_NM
from registry.reports.models import ConversionKind, Report, Rig, SampleImage
from registry.reports.rules.inputs import Input
from registry.reports.rules.light import VISIBLE, effective_cut_on
from registry.reports.rules.lookups import gear_item, own_thing
from registry.shotlists.facts import CameraFacts, LensFacts
from registry.shotlists.missing import Missing, Taken, missing_shots
from registry.shotlists.shot_list import ShotList, shot_list_for

PLAN_FIELDS = ("lens", "rig", "conversion", "cut_on_nm", "filter", "teleconverter", "adapter")
_GEAR = {"lens": Lens, "filter": Filter, "teleconverter": Teleconverter, "adapter": Adapter}
_WITH_CUT_ON = (ConversionKind.LONG_PASS, ConversionKind.BAND_PASS, ConversionKind.DUAL_BAND)


@dataclass(frozen=True)
class Camera:
    """What is known of the camera: an own rig, or a conversion as described; conversion None where neither is."""

    rig: Rig | None = None
    conversion: str | None = None
    cut_on_nm: float | None = None

    def __str__(self) -> str:
        if self.rig is not None:
            return str(self.rig)
        if self.conversion is None:
            return ""
        cut_on = f", {self.cut_on_nm:g} nm" if self.cut_on_nm else ""
        return f"{ConversionKind(self.conversion).label}{cut_on}"


@dataclass(frozen=True)
class Plan:
    """A test that somebody has in mind, and its shot list. cut_on_nm, light_group: as a report's would be."""

    lens: Lens
    camera: Camera
    filter: Filter | None
    teleconverter: Teleconverter | None
    adapter: Adapter | None
    cut_on_nm: float | None
    light_group: str
    shot_list: ShotList


def read_plan(sent: Mapping[str, Any], viewer: Account | None) -> Plan:
    """The plan that somebody asks for. Everything but the lens may be left out.

    sent: fields of PLAN_FIELDS. rig: one of the viewer's own, by public id; in its place a conversion with its cut-on
    in nm. Gear by row, slug or name. Raises InvalidInput with every problem.
    """
    source = Input(sent)
    source.known(PLAN_FIELDS)
    gear = {name: gear_item(source, name, kind) for name, kind in _GEAR.items()}
    if source.content.get("lens") in (None, ""):
        source.missing("lens", "The lens", "Name the lens that is to be tested.")
    camera = _camera(source, viewer)
    source.raise_problems()
    return plan_of(camera=camera, **gear)


def plan_of(
    *,
    lens: Lens,
    camera: Camera,
    filter: Filter | None = None,
    teleconverter: Teleconverter | None = None,
    adapter: Adapter | None = None,
) -> Plan:
    """The plan for gear that has been looked up."""
    rig = camera.rig
    if rig is None and camera.conversion is not None:
        rig = Rig(conversion=camera.conversion, cut_on_nm=camera.cut_on_nm)
    cut_on_nm, light_group = effective_cut_on(rig, filter)
    facts = CameraFacts(
        conversion=rig.conversion if rig else None,
        has_filter=filter is not None,
        cut_on_nm=cut_on_nm,
        sees_infrared=light_group != VISIBLE,
    )
    shot_list = shot_list_for(_lens_facts(lens, teleconverter, adapter), facts)
    return Plan(lens, camera, filter, teleconverter, adapter, cut_on_nm, light_group, shot_list)


def plan_of_report(report: Report) -> Plan:
    """What was to be photographed for a report."""
    return plan_of(
        lens=report.lens,
        camera=Camera(rig=report.rig),
        filter=report.filter,
        teleconverter=report.teleconverter,
        adapter=report.adapter,
    )


def missing_of_report(report: Report, images: list[SampleImage]) -> tuple[Missing, ...]:
    """What of its shot list a report's pictures do not show."""
    taken = [Taken(image.f_number, image.focal_length_mm, image.purpose) for image in images]
    return missing_shots(plan_of_report(report).shot_list, taken)


def _lens_facts(lens: Lens, *glass: Teleconverter | Adapter | None) -> LensFacts:
    magnification = 1.0
    for piece in glass:
        magnification *= piece.magnification if piece else 1.0
    return LensFacts(
        lens.focal_min_mm,
        lens.focal_max_mm,
        lens.widest_f,
        lens.widest_f_tele,
        lens.narrowest_f,
        magnification,
    )


def _camera(source: Input, viewer: Account | None) -> Camera:
    """The camera as named or described; problems collect in source."""
    if source.content.get("rig") not in (None, ""):
        return Camera(rig=_own_rig(source, viewer))
    conversion = source.choice("conversion", ConversionKind.values, what="Conversion") or None
    cut_on = source.number("cut_on_nm", low=SHORTEST_NM, high=LONGEST_NM, what="Cut-on", unit="nm")
    if conversion is None and cut_on is not None:
        conversion = ConversionKind.LONG_PASS.value
    if conversion == ConversionKind.LONG_PASS and source.content.get("cut_on_nm") in (None, ""):
        source.missing(
            "cut_on_nm", "The conversion's cut-on", "Give the wavelength in nm that the converter states."
        )
    return Camera(conversion=conversion, cut_on_nm=cut_on if conversion in _WITH_CUT_ON else None)


def _own_rig(source: Input, viewer: Account | None) -> Rig | None:
    if viewer is not None and viewer.is_authenticated:
        return own_thing(source, "rig", Rig, viewer)
    source.refuse(
        "unknown-rig",
        "rig",
        source.content["rig"],
        "Rigs belong to accounts, and you are not signed in.",
        "Sign in, or describe the camera by its conversion and cut-on.",
    )
    return None
