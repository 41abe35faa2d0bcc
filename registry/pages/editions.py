"""Which state of the registry a published figure shows."""

from __future__ import annotations

from datetime import date

from django.utils import formats, timezone

from registry.consensus.constants import METHOD_VERSION


def live_edition(stated_on: date | None, method_version: str = METHOD_VERSION) -> str:
    """The edition line of figures that come from no release. stated_on: when what they show was last computed, and
    method_version: by which method."""
    day = formats.date_format(stated_on or timezone.localdate(), "j M Y")
    return f"live data of {day}, method {method_version}"
