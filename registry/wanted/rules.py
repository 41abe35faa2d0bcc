"""How wanted a test is, and how long it may be reserved. Pure decisions."""

from __future__ import annotations

import math
from datetime import timedelta

RESERVED_FOR = timedelta(days=30)
RESERVATIONS_PER_ACCOUNT = 5
LOOK_UPS_COUNT_FOR = timedelta(days=90)
LOOK_UPS_KEPT_FOR = timedelta(days=400)  # a year and a bit, so that a season can be compared with the last
A_WATCH_WEIGHS = 3  # look-ups: who asks to be told wants it more than who looks once
BITS_WORTH_A_TEST = 0.01


def demand(look_ups: int, watches: int) -> float:
    """How many ask, damped: 1 where nobody does, about 1 more each time their number doubles, so that neither a
    fashion nor someone who reloads a page can outrank everything that is unknown."""
    return math.log2(2 + look_ups + A_WATCH_WEIGHS * watches)


def score(information: float, look_ups: int, watches: int) -> float:
    """Expected information (bits) × demand (methods, B6)."""
    return information * demand(look_ups, watches)
