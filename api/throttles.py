"""How often one account or address may ask: counted atomically, so that many requests at once don't slip by.

Each scope has a limit of its own. What may write is counted in the database, exactly; the rest in the cache, which is
cheaper, and as exact as the cache's own counting is (memory and Redis count atomically; the file cache may lose a few).
"""

from __future__ import annotations

import math
import time

from django.conf import settings
from django.core.cache import cache
from django.db import IntegrityError, transaction
from django.db.models import F
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from api.models import RequestCount
from api.scopes import needed_scope
from registry.accounts.addresses import address_of

WINDOW_SECONDS = 60


class RequestThrottle(BaseThrottle):
    """Signed-in people are counted by account, others by address. Limits per minute: settings.API_LIMITS."""

    def allow_request(self, request: Request, view) -> bool:
        self.now = time.time()
        scope = needed_scope(view, request.method)
        window = int(self.now // WINDOW_SECONDS) * WINDOW_SECONDS
        writes = scope != "read" and request.method not in SAFE_METHODS
        counted = _count_exactly if writes else _count_cheaply
        limit, count = settings.API_LIMITS[scope], counted(f"{scope}:{_who(request)}", window)
        view.rate_headers = {
            "RateLimit-Limit": str(limit),
            "RateLimit-Remaining": str(max(0, limit - count)),
            "RateLimit-Reset": str(math.ceil(self.wait())),
        }
        return count <= limit

    def wait(self) -> float:
        return WINDOW_SECONDS - self.now % WINDOW_SECONDS


def _who(request: Request) -> str:
    if request.user and request.user.is_authenticated:
        return f"account:{request.user.pk}"
    return f"address:{address_of(request.META)}"


def _count_cheaply(bucket: str, window: int) -> int:
    key = f"api-count:{bucket}:{window}"
    if cache.add(key, 1, timeout=2 * WINDOW_SECONDS):
        return 1
    try:
        return cache.incr(key)
    except ValueError:  # expired in between
        cache.set(key, 1, timeout=2 * WINDOW_SECONDS)
        return 1


def _count_exactly(bucket: str, window: int) -> int:
    with transaction.atomic():
        row = RequestCount.objects.filter(bucket=bucket, window=window)
        if not row.update(count=F("count") + 1):
            RequestCount.objects.filter(bucket=bucket, window__lt=window).delete()
            try:
                with transaction.atomic():
                    RequestCount.objects.create(bucket=bucket, window=window, count=1)
            except IntegrityError:  # someone else began the window at the same moment
                row.update(count=F("count") + 1)
        return row.values_list("count", flat=True).get()
