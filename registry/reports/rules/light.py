"""Which light reached the sensor: the effective cut-on of a rig and a filter together."""

from __future__ import annotations

from registry.gear.models import Filter, Passes
from registry.optics import light_path
from registry.reports.models import ConversionKind, Rig

FULL_SPECTRUM, BAND_PASS, DUAL_BAND, VISIBLE = "full-spectrum", "band-pass", "dual-band", "visible"
# Groups of evidence that have no single cut-on. "visible" is not infrared and is never submitted.
LIGHT_GROUPS = (FULL_SPECTRUM, BAND_PASS, DUAL_BAND)


def effective_cut_on(rig: Rig | None, filter: Filter | None) -> tuple[float | None, str]:
    """Cut-on in nm and light group of a rig with a filter.

    Returns (cut_on_nm, "") for long-pass filters, alone or stacked, and (None, group) where no single cut-on exists:
    any band-pass part makes "band-pass", else any dual-band part "dual-band", else "full-spectrum" for an open
    sensor; an unconverted body without a filter sees "visible" light. (None, "") when nothing is known.
    """
    passes = {part for part in (rig and rig.conversion, filter and filter.passes) if part}
    for group in (BAND_PASS, DUAL_BAND):
        if group in passes:
            return None, group
    converted = rig.cut_on_nm if rig and rig.conversion == ConversionKind.LONG_PASS else None
    filtered = filter.cut_on_nm if filter and filter.passes == Passes.LONG_PASS else None
    cut_on_nm = light_path.effective_cut_on(converted, filtered)
    if cut_on_nm is not None:
        return cut_on_nm, ""
    if rig is None:
        return None, ""
    return None, FULL_SPECTRUM if rig.conversion == ConversionKind.FULL_SPECTRUM else VISIBLE
