"""Naming gear of any kind in one address or body: by its kind and its slug."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.errors import NotFound, Problem
from registry.gear.models import GearItem, GearKind
from registry.gear.queries import gear_by_slug, kind_of

KINDS_TOLD = f"One of: {', '.join(GearKind.values)}."


class GearNameSerializer(serializers.Serializer):
    """A piece of gear in short."""

    slug = serializers.SlugField()
    title = serializers.CharField(source="__str__")
    status = serializers.CharField(help_text="“proposed” until a moderator lists it.")


class KindField(serializers.ChoiceField):
    """Which kind of gear a row is."""

    def __init__(self, **named: Any):
        super().__init__(choices=GearKind.choices, source="*", read_only=True, **named)

    def to_representation(self, item: GearItem) -> str:
        return kind_of(item)


def known_kind(kind: str) -> str:
    """Raises NotFound for no kind of gear."""
    if kind not in GearKind.values:
        raise NotFound(
            Problem(
                code="unknown-kind",
                field="kind",
                value=kind[:40],
                says=f"“{kind[:40]}” is no kind of gear.",
                remedy=KINDS_TOLD,
            )
        )
    return kind


def named(kind: str, slug: str, field: str = "slug") -> GearItem:
    """Raises NotFound."""
    return gear_by_slug(known_kind(kind), slug, field=field)
