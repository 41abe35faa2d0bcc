"""How much drawing one address may ask for: by size, since that is what it costs. What is kept costs nothing."""

from __future__ import annotations

import time

from allauth.account.adapter import get_adapter
from django.core.cache import cache
from django.http import HttpRequest

MEGAPIXELS_A_MINUTE = 60
WINDOW_SECONDS = 60
SVG_COSTS = 1.0  # megapixels that drawing an SVG is counted as


def may_draw(request: HttpRequest, megapixels: float) -> bool:
    """Count a drawing against the asker's minute; False when the minute's share is used up."""
    window = int(time.time() // WINDOW_SECONDS)
    key = f"drawing:{get_adapter(request).get_client_ip(request)}:{window}"
    hundredths = max(1, round(100 * megapixels))
    if cache.add(key, hundredths, timeout=2 * WINDOW_SECONDS):
        return True
    try:
        return cache.incr(key, hundredths) <= 100 * MEGAPIXELS_A_MINUTE
    except ValueError:  # expired in between
        return True
