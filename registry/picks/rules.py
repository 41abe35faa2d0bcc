"""What a list of picks must have."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from registry.errors import InvalidInput, Problem
from registry.gear.models import Lens

TITLE_LENGTH, ABOUT_LENGTH, REASON_LENGTH = 120, 2000, 600
PICKS_PER_LIST = 20
LISTS_PER_ACCOUNT = 50


@dataclass(frozen=True)
class PickGiven:
    """One pick as it was sent."""

    lens: Lens
    reason: str


def check_list(title: str, about: str, picks: Sequence[PickGiven]) -> None:
    """Raises InvalidInput with everything that is wrong."""
    if problems := [*_text_problems(title, about), *_pick_problems(picks)]:
        raise InvalidInput(problems)


def _text_problems(title: str, about: str) -> Iterator[Problem]:
    if not title:
        yield Problem(
            code="title-missing",
            field="title",
            value=title,
            says="The list has no title.",
            remedy="Say what the lenses are for, such as “Dunes at 720 nm, light enough to carry”.",
        )
    for field, text, limit in (("title", title, TITLE_LENGTH), ("about", about, ABOUT_LENGTH)):
        if len(text) > limit:
            yield _too_long(field, text, limit)


def _pick_problems(picks: Sequence[PickGiven]) -> Iterator[Problem]:
    if not picks:
        yield Problem(
            code="picks-missing",
            field="picks",
            says="The list names no lens.",
            remedy="Name one lens at least, with a reason.",
        )
    if len(picks) > PICKS_PER_LIST:
        yield Problem(
            code="too-many",
            field="picks",
            value=len(picks),
            says=f"{len(picks)} picks are more than the {PICKS_PER_LIST} that a list holds.",
            remedy="Recommend fewer, or make a second list.",
        )
    seen = set()
    for index, pick in enumerate(picks):
        if pick.lens.pk in seen:
            yield Problem(
                code="picked-twice",
                field=f"picks[{index}].lens",
                value=pick.lens.slug,
                says=f"{pick.lens} is on the list already.",
                remedy="Keep one of the two.",
            )
        seen.add(pick.lens.pk)
        if not pick.reason:
            yield Problem(
                code="reason-missing",
                field=f"picks[{index}].reason",
                value=pick.lens.slug,
                says=f"{pick.lens} has no reason.",
                remedy="Say why you would take it out yourself.",
            )
        if len(pick.reason) > REASON_LENGTH:
            yield _too_long(f"picks[{index}].reason", pick.reason, REASON_LENGTH)


def _too_long(field: str, text: str, limit: int) -> Problem:
    return Problem(
        code="text-too-long",
        field=field,
        value=text[:60],
        says=f"“{text[:30]}…” has {len(text)} characters.",
        remedy=f"Shorten it to {limit}.",
    )
