"""Reading lists of picks."""

from __future__ import annotations

from django.core.cache import cache
from django.db.models import Prefetch, QuerySet

from registry.accounts.models import Account
from registry.errors import NotFound, Problem
from registry.gear.models import Lens
from registry.picks.models import Pick, PickList

PICKS_SHOWN = 5
CACHED_SECONDS = 600


def pick_lists(*, author: Account | None = None, lens: Lens | None = None) -> QuerySet[PickList]:
    """Lists that anyone may read, newest first, with their picks. lens: only those that name it."""
    picks = Prefetch("picks", queryset=Pick.objects.select_related("lens__maker").order_by("place"))
    lists = PickList.objects.filter(withdrawn_at__isnull=True).select_related("author")
    if author is not None:
        lists = lists.filter(author=author)
    if lens is not None:
        lists = lists.filter(picks__lens=lens)
    return lists.prefetch_related(picks).order_by("-updated_at", "-pk")


def pick_list(public_id: str) -> PickList:
    """A list at its address, withdrawn ones too. Raises NotFound."""
    found = PickList.objects.filter(public_id=public_id).select_related("author").first()
    if found is None:
        raise NotFound(
            Problem(
                code="unknown-pick-list",
                field="list",
                value=public_id,
                says=f"There is no list of picks {public_id}.",
                remedy="Check the ten characters of its address.",
            )
        )
    return found


def picks_in(found: PickList) -> list[Pick]:
    return list(found.picks.select_related("lens__maker").order_by("place"))


def picks_of_lens(lens: Lens) -> list[dict[str, str]]:
    """What the lens's page shows of the newest lists that name it: list, title, author and reason of each.

    Kept in the cache until a list that names the lens changes, so that the page costs no statement for it.
    """
    key = cache_key(lens.pk)
    told = cache.get(key)
    if told is None:
        picks = (
            Pick.objects.filter(lens=lens, pick_list__withdrawn_at__isnull=True)
            .select_related("pick_list__author")
            .order_by("-pick_list__updated_at", "-pk")
        )
        told = [
            {
                "list": pick.pick_list.public_id,
                "title": pick.pick_list.title,
                "author": pick.pick_list.author.name,
                "reason": pick.reason,
            }
            for pick in picks[:PICKS_SHOWN]
        ]
        cache.set(key, told, CACHED_SECONDS)
    return told


def cache_key(lens_id: int) -> str:
    return f"picks-of-lens:{lens_id}"
