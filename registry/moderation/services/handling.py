"""Taking on what waits, and handing it back."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import Conflict, Problem
from registry.moderation.models import Handling
from registry.moderation.rules import check_may_moderate

HANDLED_FOR = timedelta(hours=24)


@transaction.atomic
def take_on(*, by: Account, kind: str, key: str, now: datetime | None = None) -> Handling:
    """Let others see that one is at it, for a day; taking on one's own again lengthens it.

    Raises NotAllowed for anyone but a moderator, errors.Conflict while someone else is at it.
    """
    check_may_moderate(by)
    now = now or timezone.now()
    new = {"by": by, "since": now, "until": now + HANDLED_FOR}
    Handling.objects.get_or_create(kind=kind, key=str(key), defaults=new)
    held = Handling.objects.select_for_update(no_key=True).select_related("by").get(kind=kind, key=str(key))
    if held.by_id != by.pk and held.until > now:
        raise Conflict(
            Problem(
                code="already-handled",
                field="key",
                value=key,
                says=f"{held.by} is at it until {held.until:%d %B, %H:%M} UTC.",
                remedy="Take another, or talk to them.",
            )
        )
    held.by, held.until = by, new["until"]
    held.save(update_fields=["by", "until"])
    return held


def hand_back(*, by: Account, kind: str, key: str) -> None:
    """Stop handling something; harmless where one does not."""
    Handling.objects.filter(kind=kind, key=str(key), by=by).delete()
