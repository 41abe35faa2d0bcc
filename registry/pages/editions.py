"""Which state of the registry a published figure shows."""

from __future__ import annotations

from datetime import date

from django.utils import formats, timezone

from registry.consensus.constants import METHOD_VERSION
from registry.standings.queries import LensAnswer


def live_edition(stated_on: date | None, method_version: str = METHOD_VERSION, priors_number: int = 0) -> str:
    """The edition line of figures that come from no release. stated_on: when what they show was last computed,
    method_version: by which method, priors_number: under which edition of the priors, 0 where that is not one."""
    day = formats.date_format(stated_on or timezone.localdate(), "j M Y")
    priors = f", priors edition {priors_number}" if priors_number else ""
    return f"live data of {day}, method {method_version}{priors}"


def edition_of(answer: LensAnswer) -> str:
    """The edition line of what is known of a lens today."""
    return live_edition(answer.stated_on, answer.method_version, answer.priors_number)
