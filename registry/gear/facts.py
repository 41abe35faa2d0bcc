"""Reading the facts about one piece of gear from a row of text or JSON values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from registry.errors import InvalidInput, Problem
from registry.gear.models import Maker, Mount
from registry.gear.names import nearest, slug_for
from registry.gear.rules import FACTS, KIND_MODELS, REQUIRED, TOLD_BY

PROVENANCE = ("slug", "source", "licence")
YES, NO = {"true", "yes", "1"}, {"false", "no", "0"}
LISTS = ("mounts", "aliases")


@dataclass
class KnownNames:
    """The makers and mounts that rows may name, each by its name or its slug in any case."""

    makers: dict[str, Maker]
    mounts: dict[str, Mount]
    may_make_makers: bool = False

    @classmethod
    def load(cls, *, may_make_makers: bool = False) -> KnownNames:
        return cls(_by_name(Maker.objects.all()), _by_name(Mount.objects.all()), may_make_makers)

    def maker(self, name: str) -> Maker:
        known = self.makers.get(name.casefold())
        if known is None and self.may_make_makers:
            taken = {maker.slug for maker in self.makers.values()}
            known = Maker(name=name, slug=slug_for(name, taken=taken, limit=60))
            self.makers |= _by_name([known])
        if known is None:
            raise InvalidInput(_unknown("maker", name, self.makers.values()))
        return known

    def mount(self, name: str) -> Mount:
        known = self.mounts.get(name.casefold())
        if known is None:
            raise InvalidInput(_unknown("mount", name, self.mounts.values()))
        return known


@dataclass
class Facts:
    """What a row states: values by field of the model, lists apart, and where it has them from."""

    values: dict[str, Any] = field(default_factory=dict)
    mounts: list[Mount] | None = None
    aliases: list[str] | None = None
    slug: str = ""
    source: str = ""
    licence: str = ""


def read_facts(kind: str, row: Mapping[str, Any], known: KnownNames) -> tuple[Facts, list[Problem]]:
    """Facts of one row, and every problem in it. An empty cell states nothing.

    kind: a key of rules.FACTS. row: text as a CSV cell holds it, or values as JSON has them.
    """
    facts, problems = Facts(), _unknown_columns(kind, row)
    for name in (*FACTS[kind], *PROVENANCE):
        value = row.get(name)
        value = value.strip() if isinstance(value, str) else value
        if value is None or value == "" or value == []:
            continue
        try:
            _take(facts, kind, name, value, known)
        except InvalidInput as refusal:
            problems += refusal.problems
    return facts, problems


def missing_facts(kind: str, facts: Facts) -> list[Problem]:
    """What a new piece of gear lacks; fills in what another fact tells."""
    for name, teller in TOLD_BY.items():
        if name in FACTS[kind] and name not in facts.values and teller in facts.values:
            facts.values[name] = facts.values[teller]
    return [
        Problem(
            code="fact-missing",
            field=name,
            says=f"“{name}” is missing.",
            remedy=f"Every row of {kind} needs {', '.join(REQUIRED[kind])}.",
        )
        for name in REQUIRED[kind]
        if name not in facts.values
    ]


def _take(facts: Facts, kind: str, name: str, value: Any, known: KnownNames) -> None:
    if name in PROVENANCE:
        setattr(facts, name, _text(name, value, {"slug": 140, "source": 300, "licence": 60}[name]))
    elif name in LISTS:
        parts = [_text(name, part, 160) for part in _listed(name, value)]
        setattr(facts, name, [known.mount(part) for part in parts] if name == "mounts" else parts)
    elif name == "maker":
        facts.values[name] = known.maker(_text(name, value, 60))
    elif name == "mount" or name.endswith("_mount"):
        try:
            facts.values[name] = known.mount(_text(name, value, 60))
        except InvalidInput as refusal:
            raise InvalidInput(Problem(**(vars(refusal.first) | {"field": name}))) from None
    else:
        facts.values[name] = _value(KIND_MODELS[kind]._meta.get_field(name), value)


def _value(field_: models.Field, value: Any) -> Any:
    if isinstance(field_, models.BooleanField):
        return _truth(field_.name, value)
    if isinstance(field_, models.FloatField | models.IntegerField):
        return _number(field_, value)
    text = _text(field_.name, value, field_.max_length)
    if field_.choices:
        return _choice(field_, text)
    return text


def _number(field_: models.Field, value: Any) -> float | int:
    try:
        number = math.nan if isinstance(value, bool) else float(value)
    except (TypeError, ValueError):
        number = math.nan
    low = next((v.limit_value for v in field_.validators if isinstance(v, MinValueValidator)), -math.inf)
    high = next((v.limit_value for v in field_.validators if isinstance(v, MaxValueValidator)), math.inf)
    whole = isinstance(field_, models.IntegerField)
    if not (math.isfinite(number) and low <= number <= high) or (whole and number != int(number)):
        bounds = f"from {low:g} to {high:g}" if high < math.inf else f"of at least {low:g}"
        raise InvalidInput(
            Problem(
                code="not-a-number-in-range",
                field=field_.name,
                value=value,
                says=f"“{value}” is not a {'whole ' if whole else ''}number {bounds} for {field_.name}.",
                remedy="Write plain figures with a point and no unit, such as 2.8, or leave it empty.",
            )
        )
    return int(number) if whole else number


def _text(name: str, value: Any, longest: int) -> str:
    text = value.strip() if isinstance(value, str) else ""
    if not text or len(text) > longest or not text.isprintable():
        raise InvalidInput(
            Problem(
                code="not-a-plain-text",
                field=name,
                value=value,
                says=f"“{str(value)[:80]}” is not a text of 1 to {longest} printable characters for {name}.",
                remedy="Shorten it, and keep it on one line.",
            )
        )
    return text


def _choice(field_: models.Field, text: str) -> str:
    choices = [value for value, _ in field_.choices]
    wanted = text.casefold().replace(" ", "-").replace("_", "-")
    if wanted not in choices:
        raise InvalidInput(
            Problem(
                code="unknown-choice",
                field=field_.name,
                value=text,
                says=f"“{text}” is no {field_.verbose_name}.",
                remedy=f"Write one of {', '.join(choices)}.",
            )
        )
    return wanted


def _truth(name: str, value: Any) -> bool:
    word = str(value).strip().casefold()
    if word not in YES | NO:
        raise InvalidInput(
            Problem(
                code="not-yes-or-no",
                field=name,
                value=value,
                says=f"“{value}” says neither yes nor no for {name}.",
                remedy="Write true or false.",
            )
        )
    return word in YES


def _listed(name: str, value: Any) -> list:
    """Several values in one cell are parted by semicolons; in JSON they are a list."""
    if isinstance(value, str):
        return [part for part in value.split(";") if part.strip()]
    if not isinstance(value, list | tuple):
        raise InvalidInput(
            Problem(
                code="not-a-list",
                field=name,
                value=value,
                says=f"“{value}” is no list of {name}.",
                remedy="Give names parted by semicolons, or a JSON list of names.",
            )
        )
    return list(value)


def _unknown_columns(kind: str, row: Mapping) -> list[Problem]:
    columns = [*FACTS[kind], *PROVENANCE]
    return [unknown_column(kind, str(name), columns) for name in row if name not in columns]


def unknown_column(kind: str, name: str, columns: list[str]) -> Problem:
    near = nearest(
        name.replace("_", " "), [column.replace("_", " ") for column in columns], limit=1, at_least=60
    )
    hint = f"Did you mean {near[0].replace(' ', '_')}?" if near else f"The columns are {', '.join(columns)}."
    return Problem(
        code="unknown-column", field=name, value=name, says=f"“{name}” is no fact about {kind}.", remedy=hint
    )


def _unknown(what: str, name: str, known) -> Problem:
    names = list(dict.fromkeys(item.name for item in known))
    near = nearest(name, names)
    hint = (
        f"Did you mean {' or '.join(near)}?"
        if near
        else f"Known are {', '.join(sorted(names)) or 'none so far'}."
    )
    more = " Or let the import create makers." if what == "maker" else f" Otherwise add the {what} first."
    return Problem(
        code=f"unknown-{what}",
        field="mounts" if what == "mount" else what,
        value=name,
        says=f"The registry knows no {what} “{name}”.",
        remedy=hint + more,
    )


def _by_name(items) -> dict:
    return {key: item for item in items for key in (item.name.casefold(), item.slug)}
