"""Flags, blocks and appeals, as those see them who settle them and those whom they concern."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Prefetch, QuerySet

from registry.accounts.models import Account, Block, SharedVoice
from registry.accounts.queries import block_in_force
from registry.errors import NotFound, Problem
from registry.moderation.models import Appeal, Decision, Flag, FlagOutcome
from registry.moderation.queries.voices import decision_behind
from registry.reports.models import Report, SampleImage


@dataclass(frozen=True)
class Flagged:
    """What open flags are on one report, or on one picture of it."""

    key: str
    report: Report
    image: SampleImage | None
    flags: tuple[Flag, ...]

    @property
    def since(self) -> datetime:
        return self.flags[0].at


def flagged() -> list[Flagged]:
    """What waits to be looked at: hidden pictures first, then by age."""
    rows = (
        Flag.objects.filter(outcome=FlagOutcome.OPEN)
        .select_related("report__lens__maker", "report__author", "image", "by")
        .order_by("id")
    )
    things: dict[tuple, list[Flag]] = defaultdict(list)
    for flag in rows:
        things[flag.report_id, flag.image_id].append(flag)
    found = [
        Flagged(key_of(flags[0].report, flags[0].image), flags[0].report, flags[0].image, tuple(flags))
        for flags in things.values()
    ]
    return sorted(found, key=lambda one: (not (one.image and one.image.withheld), one.since))


def key_of(report: Report, image: SampleImage | None) -> str:
    """How what was flagged is named where moderators take it on."""
    return f"{report.public_id}:{image.public_id}" if image else report.public_id


def appeals_waiting() -> QuerySet[Appeal]:
    """Appeals that nobody has answered, the oldest first."""
    return appeals().filter(granted=None)


def appeals() -> QuerySet[Appeal]:
    return Appeal.objects.select_related("by", "block__by", "image__report", "voice", "answered_by")


def appeal_by_number(number: int) -> Appeal:
    """Raises NotFound."""
    return _found(appeals().filter(pk=number).first(), "appeal", number)


def blocks() -> QuerySet[Block]:
    """Every block, those that are over too, newest first."""
    return Block.objects.select_related("account", "by", "lifted_by").order_by("-id")


def hidden_pictures() -> QuerySet[SampleImage]:
    """Pictures that nobody but their owner and moderators sees, with their flags; newest first."""
    return pictures_flagged().exclude(withheld={})


def pictures_flagged() -> QuerySet[SampleImage]:
    """Pictures with their flags and appeals, newest first."""
    return (
        SampleImage.objects.select_related("report__lens__maker", "report__author", "owner")
        .prefetch_related(Prefetch("flags", queryset=flags().order_by("id")), "appeals")
        .order_by("-id")
    )


def flags() -> QuerySet[Flag]:
    """Every flag, settled ones too, newest first."""
    return Flag.objects.select_related("report__lens__maker", "image", "by", "settled_by").order_by("-id")


def block_by_number(number: int) -> Block:
    """Raises NotFound."""
    return _found(Block.objects.filter(pk=number).select_related("account").first(), "block", number)


@dataclass(frozen=True)
class Restriction:
    """Something decided about an account that it can appeal against. appeals: its own, the oldest first. decision:
    where it stands for everyone to read, if it does."""

    kind: str
    key: int
    words: str
    appeals: tuple[Appeal, ...]
    decision: Decision | None = None

    @property
    def about(self) -> str:
        return f"{self.kind}:{self.key}"

    @property
    def waits(self) -> bool:
        return any(one.granted is None for one in self.appeals)


def restrictions_of(account: Account) -> list[Restriction]:
    """What keeps an account, or its pictures, from being seen or heard."""
    return list(_restrictions(account))


def appeals_past(account: Account) -> QuerySet[Appeal]:
    """An account's appeals that were answered, newest first."""
    return appeals().filter(by=account).exclude(granted=None).order_by("-id")


def voice_by_number(number: int) -> SharedVoice:
    """Raises NotFound."""
    return _found(SharedVoice.objects.filter(pk=number).first(), "voice", number)


def hidden_picture(account: Account, number: int) -> SampleImage:
    """One of an account's own pictures. Raises NotFound."""
    return _found(account.images.filter(pk=number).select_related("report").first(), "picture", number)


def _restrictions(account: Account) -> Iterator[Restriction]:
    if block := block_in_force(account):
        until = f" until {block.until:%d %B %Y, %H:%M} UTC" if block.until else ""
        words = f"Your account submits nothing since {block.at:%d %B %Y}{until}: {block.reason}"
        yield Restriction("block", block.pk, words, tuple(appeals().filter(block=block)))
    for voice in account.shared_voices.filter(ended_at=None):
        others = voice.accounts.exclude(pk=account.pk).order_by("pk")
        named = " and ".join(str(other) for other in others)
        words = f"Your tests and those of {named} count as one person’s since {voice.made_at:%d %B %Y}."
        own = tuple(appeals().filter(voice=voice, by=account))
        yield Restriction("voice", voice.pk, words, own, decision_behind(voice))
    for image in account.images.exclude(withheld={}).select_related("report__lens__maker"):
        words = f"A picture of your report {image.report.public_id} on the {image.report.lens} is hidden."
        yield Restriction("picture", image.pk, words, tuple(appeals().filter(image=image)))


def _found(row, what: str, number: int):
    if row is None:
        raise NotFound(
            Problem(
                code=f"unknown-{what}",
                field=what,
                value=number,
                says=f"There is no {what} number {number}.",
                remedy="Look it up in its list.",
            )
        )
    return row
