"""Pairs of rows in the catalogue that may be one piece of gear: names alike, and no fact that tells them apart."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from rapidfuzz import fuzz

from registry.gear.models import Body, GearItem, Lens, SetApart
from registry.gear.names import is_figure, tokens_of
from registry.gear.rules import FACTS, KIND_MODELS

ALIKE = 0.82  # from here on a pair is shown
WORD_LEFT_OUT = 0.95  # likeness of two names when one only leaves words out
# Words that makers tell generations apart by: "II" is another lens, not a slip of the pen.
GENERATION = re.compile(r"i{1,3}|iv|vi{0,3}|ix|x|mk\w*|mark|[a-z]|\d.*")
# What two rows must state alike to be one thing, kind by kind.
TOLD_APART_BY = {
    "lens": ("focal_min_mm", "focal_max_mm", "widest_f", "widest_f_tele", "projection"),
    "body": ("mount_id",),
    "filter": ("passes", "cut_on_nm"),
    "teleconverter": ("magnification",),
    "adapter": ("lens_mount_id", "body_mount_id", "has_glass"),
}


@dataclass(frozen=True)
class Pair:
    """Two rows that may be one. likeness: of their names, 0 to 1. The first is the older one."""

    kind: str
    first: GearItem
    second: GearItem
    likeness: float

    @property
    def key(self) -> str:
        return ":".join((self.kind, *in_order(self.first.slug, self.second.slug)))

    @property
    def shared(self) -> list[tuple[str, object]]:
        """Facts that both state alike."""
        return [(fact, one) for fact, one, other in self._facts() if one == other]

    @property
    def differing(self) -> list[tuple[str, object, object]]:
        """Facts that both state, otherwise."""
        return [row for row in self._facts() if row[1] != row[2]]

    def _facts(self) -> Iterator[tuple[str, object, object]]:
        plural = next(name for name, model in KIND_MODELS.items() if model is type(self.first))
        names = {field.name for field in type(self.first)._meta.concrete_fields} - {"name", "slug"}
        for fact in FACTS[plural]:
            if fact in names:
                one, other = getattr(self.first, fact), getattr(self.second, fact)
                if None not in (one, other) and "" not in (one, other):
                    yield fact, one, other


def in_order(one: str, other: str) -> tuple[str, str]:
    return (one, other) if one < other else (other, one)


def doubles(kinds: Iterable[str] = tuple(TOLD_APART_BY)) -> list[Pair]:
    """Pairs that nobody has set apart yet, the likest first."""
    apart = set(SetApart.objects.values_list("kind", "first_slug", "second_slug"))
    found = [pair for kind in kinds for pair in _pairs(kind)]
    found = [pair for pair in found if (pair.kind, *in_order(pair.first.slug, pair.second.slug)) not in apart]
    return sorted(found, key=lambda pair: (-pair.likeness, pair.key))


def _pairs(kind: str) -> Iterator[Pair]:
    model = next(model for model in KIND_MODELS.values() if model._meta.model_name == kind)
    alike: dict[tuple, list[GearItem]] = defaultdict(list)
    for item in model.objects.select_related("maker").order_by("pk"):
        figures = frozenset(token for token in tokens_of(str(item)) if is_figure(token))
        facts = tuple(getattr(item, fact) for fact in TOLD_APART_BY[kind])
        alike[(*facts, figures if model is not Lens else None)].append(item)
    for items in alike.values():
        for first, second in combinations(items, 2):
            likeness = likeness_of(str(first), str(second))
            if likeness >= ALIKE and not (isinstance(first, Body) and _by_number(first, second)):
                yield Pair(kind, first, second, round(likeness, 2))


def _by_number(first: Body, second: Body) -> bool:
    """Bodies that cameras call by two names are two."""
    return bool(first.exif_model and second.exif_model and first.exif_model != second.exif_model)


def likeness_of(one: str, other: str) -> float:
    """How alike two names are, 0 to 1: 0 where they state other figures, or another generation."""
    first, second = tokens_of(one), tokens_of(other)
    figures = [{token for token in tokens if is_figure(token)} for tokens in (first, second)]
    if figures[0] and figures[1] and not (figures[0] <= figures[1] or figures[1] <= figures[0]):
        return 0.0
    words = [[token for token in tokens if not is_figure(token)] for tokens in (first, second)]
    only = set(words[0]) ^ set(words[1])
    if any(GENERATION.fullmatch(word) for word in only):
        return 0.0
    texts = [" ".join(sorted(each)) for each in words]
    whole = fuzz.ratio(*texts) / 100
    left_out = WORD_LEFT_OUT if set(words[0]) <= set(words[1]) or set(words[1]) <= set(words[0]) else 0.0
    return max(whole, left_out) if all(words) else 0.0
