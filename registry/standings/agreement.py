"""Plain figures beside a standing, as JSON keeps them. They describe the reports; no verdict rests on them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from registry.consensus.constants import VISIBLE_EV
from registry.consensus.descriptive import excess_by_stop, reports_in, shares_clean
from registry.consensus.evidence import Lens, Report


def agreement_of(
    optics: Lens, entries: Sequence[Report], group: str, zone: str, visible_ev: float = VISIBLE_EV
) -> dict[str, list[dict]]:
    """Of one cell: per stop, the share of independent testers who call it clean, and their measured excess pooled."""
    here = reports_in(optics, entries, group, zone)
    return {
        "shares": [_plain(asdict(share)) for share in shares_clean(optics, here, visible_ev)],
        "excess": [_plain(asdict(excess)) for excess in excess_by_stop(optics, here)],
    }


def _plain(value: Any) -> Any:
    """JSON has no NaN: an interval that one effect can't give is null."""
    if isinstance(value, dict):
        return {name: _plain(inner) for name, inner in value.items()}
    return None if isinstance(value, float) and math.isnan(value) else value
