"""Publishing, changing and withdrawing a list of picks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.core.cache import cache
from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import Conflict, NotAllowed, Problem
from registry.gear.holding import hold_gear
from registry.ledger.services import record
from registry.picks.models import Pick, PickList
from registry.picks.queries import cache_key
from registry.picks.rules import LISTS_PER_ACCOUNT, PickGiven, check_list


@transaction.atomic
def publish_list(*, author: Account, title: str, about: str, picks: Sequence[PickGiven]) -> PickList:
    """Publish a signed list. Raises InvalidInput with everything that is wrong, Conflict beyond 50 lists."""
    title, about, picks = _trimmed(title, about, picks)
    check_list(title, about, picks)
    Account.objects.select_for_update(no_key=True).get(pk=author.pk)
    if PickList.objects.filter(author=author, withdrawn_at__isnull=True).count() >= LISTS_PER_ACCOUNT:
        raise Conflict(
            Problem(
                code="too-many-lists",
                says=f"You have published {LISTS_PER_ACCOUNT} lists already.",
                remedy="Change or withdraw one of them.",
            )
        )
    made = PickList.objects.create(author=author, title=title, about=about)
    _write_picks(made, picks)
    _tell("pick-list.published", made, picks)
    return made


@transaction.atomic
def change_list(
    *,
    pick_list: PickList,
    by: Account,
    title: str,
    about: str,
    picks: Sequence[PickGiven],
    expected_version: int | None = None,
) -> PickList:
    """Replace what a list says. Raises as publish_list, NotAllowed for another's, Conflict when it is withdrawn or
    was changed since expected_version."""
    held = _hold(pick_list, by, expected_version)
    title, about, picks = _trimmed(title, about, picks)
    check_list(title, about, picks)
    before = list(held.picks.values_list("lens_id", flat=True))
    held.picks.all().delete()
    held.title, held.about, held.version = title, about, held.version + 1
    held.save()
    _write_picks(held, picks)
    _forget(before)
    _tell("pick-list.changed", held, picks)
    return held


@transaction.atomic
def withdraw_list(*, pick_list: PickList, by: Account) -> PickList:
    """Take a list out for good; its address then says that it was withdrawn, and its words are gone."""
    held = _hold(pick_list, by, None)
    _forget(held.picks.values_list("lens_id", flat=True))
    held.picks.all().delete()
    held.about, held.withdrawn_at, held.version = "", timezone.now(), held.version + 1
    held.save()
    _tell("pick-list.withdrawn", held, ())
    return held


def forget_name(*, author_id: str) -> None:
    """Drop what the cache holds of an author's picks. author_id: the account's public id."""
    _forget(Pick.objects.filter(pick_list__author__public_id=author_id).values_list("lens_id", flat=True))


def _hold(pick_list: PickList, by: Account, expected_version: int | None) -> PickList:
    held = (
        PickList.objects.select_for_update(of=("self",), no_key=True)
        .select_related("author")
        .get(pk=pick_list.pk)
    )
    if held.author_id != by.pk:
        raise NotAllowed(
            Problem(
                code="not-your-list",
                field="list",
                value=held.public_id,
                says=f"The list is {held.author}’s.",
                remedy="Make one of your own.",
            )
        )
    if held.is_withdrawn:
        raise Conflict(
            Problem(
                code="already-withdrawn",
                field="list",
                value=held.public_id,
                says="The list was withdrawn.",
                remedy="Make a new one.",
            )
        )
    if expected_version is not None and held.version != expected_version:
        raise Conflict(
            Problem(
                code="changed-meanwhile",
                field="version",
                value=expected_version,
                says="The list was changed since you opened it.",
                remedy="Open it again, and make your change to what it says now.",
            )
        )
    return held


def _trimmed(title: str, about: str, picks: Iterable[PickGiven]) -> tuple[str, str, list[PickGiven]]:
    return (
        " ".join(title.split()),
        about.strip(),
        [PickGiven(pick.lens, pick.reason.strip()) for pick in picks],
    )


def _write_picks(made: PickList, picks: Sequence[PickGiven]) -> None:
    now = hold_gear(pick.lens for pick in picks)
    # Of two that were found to be one lens meanwhile, the first pick stands.
    picks = list(
        {now[pick.lens]: PickGiven(now[pick.lens], pick.reason) for pick in reversed(picks)}.values()
    )[::-1]
    Pick.objects.bulk_create(
        Pick(pick_list=made, place=place, lens=pick.lens, reason=pick.reason)
        for place, pick in enumerate(picks, 1)
    )
    _forget(pick.lens.pk for pick in picks)


def _forget(lens_ids: Iterable[int]) -> None:
    keys = [cache_key(pk) for pk in lens_ids]
    transaction.on_commit(lambda: cache.delete_many(keys))


def _tell(name: str, made: PickList, picks: Sequence[PickGiven]) -> None:
    data = {"title": made.title, "lenses": [pick.lens.slug for pick in picks]}
    record(name, actor=made.author, subject_kind="pick-list", subject_id=made.public_id, data=data)
