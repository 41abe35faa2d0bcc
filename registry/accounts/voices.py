"""Which accounts speak with one voice: their tests count as one person's, on every lens."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account, SharedVoice, VoiceMember
from registry.errors import Conflict, InvalidInput, Problem
from registry.ledger.services import record


@transaction.atomic
def join_voices(*, accounts: Sequence[Account], by: Account, reason: str) -> SharedVoice:
    """Let several accounts' tests count as one person's. reason: told to them, checked by the caller.

    Raises InvalidInput for fewer than two, Conflict where they do already.
    """
    ids = sorted({account.pk for account in accounts})
    held = list(Account.objects.select_for_update(no_key=True).filter(pk__in=ids).order_by("pk"))
    if len(held) < 2:
        raise InvalidInput(
            Problem(
                code="accounts-to-join",
                field="accounts",
                value=[account.public_id for account in held],
                says="It takes two accounts to speak with one voice.",
                remedy="Choose two or more.",
            )
        )
    own = key_of_each(voices_in_force())
    if len({own.get(account.public_id, account.public_id) for account in held}) == 1:
        raise Conflict(
            Problem(
                code="one-voice-already",
                field="accounts",
                value=[account.public_id for account in held],
                says="They count as one voice already.",
                remedy="See the decision that made them so.",
            )
        )
    voice = SharedVoice.objects.create()
    VoiceMember.objects.bulk_create(VoiceMember(voice=voice, account=account) for account in held)
    _tell("voices.joined", voice, by, reason)
    return voice


@transaction.atomic
def part_voices(*, voice: SharedVoice, by: Account, reason: str) -> None:
    """Let each account count by itself again; harmless where it does."""
    voice = SharedVoice.objects.select_for_update(no_key=True).get(pk=voice.pk)
    if voice.ended_at is None:
        voice.ended_at = timezone.now()
        voice.save(update_fields=["ended_at"])
        _tell("voices.parted", voice, by, reason)


def voices_in_force() -> dict[str, frozenset[str]]:
    """Public ids of the accounts that speak with one voice, by the voice's name."""
    rows = VoiceMember.objects.filter(voice__ended_at=None).values_list("voice__name", "account__public_id")
    found: dict[str, set[str]] = {}
    for name, account in rows.order_by("voice__name", "account__public_id"):
        found.setdefault(name, set()).add(account)
    return {name: frozenset(accounts) for name, accounts in found.items()}


def key_of_each(voices: Mapping[str, Iterable[str]]) -> dict[str, str]:
    """For each account in a voice the smallest public id of all that it is joined with, through however many."""
    groups: list[set[str]] = []
    for accounts in voices.values():
        mine = [group for group in groups if group & set(accounts)]
        groups = [group for group in groups if group not in mine] + [set(accounts).union(*mine)]
    return {account: min(group) for group in groups for account in group}


def _tell(name: str, voice: SharedVoice, by: Account, reason: str) -> None:
    accounts = list(voice.accounts.order_by("pk").values_list("public_id", flat=True))
    data = {"accounts": accounts, "reason": reason}
    record(name, actor=by, subject_kind="voice", subject_id=voice.name, data=data)
