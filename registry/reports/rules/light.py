"""Which light reached the sensor: the effective cut-on of a rig and a filter together."""

from __future__ import annotations

from registry.gear.models import Filter, Passes
from registry.reports.models import ConversionKind, Rig

FULL_SPECTRUM, BAND_PASS, DUAL_BAND, VISIBLE = "full-spectrum", "band-pass", "dual-band", "visible"
# Groups of evidence that have no single cut-on. "visible" is not infrared and is never submitted.
LIGHT_GROUPS = (FULL_SPECTRUM, BAND_PASS, DUAL_BAND)


def effective_cut_on(rig: Rig | None, filter: Filter | None) -> tuple[float | None, str]:
    """Cut-on in nm and light group of a rig with a filter.

    Long-pass filters in series pass what both pass, so that the longer of the two cut-ons holds (common
    practice, no source). Returns (cut_on_nm, "") for them, and (None, group) where no single cut-on exists:
    any band-pass part makes "band-pass", else any dual-band part "dual-band", else "full-spectrum" for an open
    sensor; an unconverted body without a filter sees "visible" light. (None, "") when nothing is known.
    """
    passes = {part for part in (rig and rig.conversion, filter and filter.passes) if part}
    for group in (BAND_PASS, DUAL_BAND):
        if group in passes:
            return None, group
    cut_ons = []
    if rig and rig.conversion == ConversionKind.LONG_PASS:
        cut_ons.append(rig.cut_on_nm)
    if filter and filter.passes == Passes.LONG_PASS:
        cut_ons.append(filter.cut_on_nm)
    if cut_ons:
        return max(cut_ons), ""
    if rig is None:
        return None, ""
    return None, FULL_SPECTRUM if rig.conversion == ConversionKind.FULL_SPECTRUM else VISIBLE
