"""Changing the catalogue: proposals by anyone signed in, listing by moderators, facts with their sources."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.accounts.services import check_not_blocked
from registry.errors import Conflict, InvalidInput, NotAllowed, Problem
from registry.gear.facts import Facts, KnownNames, read_facts
from registry.gear.holding import held, held_to_change
from registry.gear.models import Body, FactSource, Filter, GearItem, GearStatus, Lens
from registry.gear.queries import kind_of, slugs_ever
from registry.gear.rules import KIND_MODELS, is_stated
from registry.gear.storing import change_item, new_item, save_item
from registry.ledger.services import record

PLURALS = {model._meta.model_name: kind for kind, model in KIND_MODELS.items()}


@transaction.atomic
def propose_lens(*, by: Account, new_maker: bool = False, **facts: Any) -> Lens:
    """Add a lens to the catalogue as a proposal, to be listed by a moderator; it can be reported on at once.

    facts: as rules.FACTS["lenses"] names them, with maker and mounts by name; optionally source and licence.
    new_maker: whether an unknown maker is added; otherwise it is refused with the nearest known ones named.
    Raises InvalidInput with every problem, Conflict if the catalogue has it already, NotAllowed.
    """
    return _propose("lenses", by, facts, new_maker)


@transaction.atomic
def propose_body(*, by: Account, new_maker: bool = False, **facts: Any) -> Body:
    """Add a body as a proposal; see propose_lens."""
    return _propose("bodies", by, facts, new_maker)


@transaction.atomic
def propose_filter(*, by: Account, new_maker: bool = False, **facts: Any) -> Filter:
    """Add a filter model as a proposal; see propose_lens."""
    return _propose("filters", by, facts, new_maker)


@transaction.atomic
def list_proposal(*, item: GearItem, by: Account) -> GearItem:
    """Take a proposal into the catalogue. Raises NotAllowed unless `by` moderates. Repeating it does nothing."""
    if not by.moderates:
        raise NotAllowed(
            Problem(
                code="moderators-only",
                says="Only a moderator may list proposed gear.",
                remedy="Wait until one looks at it; reports on it count meanwhile.",
            )
        )
    item = held_to_change(item)
    if item.status == GearStatus.PROPOSED:
        item.status = GearStatus.LISTED
        item.version += 1
        item.save(update_fields=["status", "version", "updated_at"])
        record(
            "gear.listed",
            actor=by,
            subject_kind=kind_of(item),
            subject_id=item.slug,
            data={"name": str(item)},
        )
    return item


@transaction.atomic
def add_fact_source(
    *, item: GearItem, fact: str, value: Any, source: str, by: Account | None = None, licence: str = ""
) -> FactSource:
    """Note where a fact about a piece of gear comes from. Several sources may state different values.

    Raises InvalidInput for a fact that this kind of gear has not, a value it cannot have, or an empty source.
    """
    facts = _read(PLURALS[kind_of(item)], {fact: value, "source": source, "licence": licence})
    if not facts.source:
        raise InvalidInput(_source_missing(source))
    item = held(item)
    entry = FactSource.objects.create(
        gear_kind=kind_of(item),
        gear_slug=item.slug,
        fact=fact,
        value=_as_text(facts, fact),
        source=facts.source,
        licence=facts.licence,
        added_by=by,
    )
    data = {"fact": fact, "value": entry.value, "source": entry.source}
    record("gear.source-added", actor=by, subject_kind=kind_of(item), subject_id=item.slug, data=data)
    return entry


@transaction.atomic
def complete_facts(
    *, item: GearItem, facts: Mapping[str, Any], source: str, by: Account, licence: str = ""
) -> GearItem:
    """Fill in facts that the catalogue lacks, with where they are from: all of them, or none.

    facts: values by the names of rules.FACTS, as typed. Raises Conflict when the catalogue states one otherwise
    already (then only a source can be added), InvalidInput with every problem of the values, an empty source, or
    what would contradict itself, and NotAllowed for a closed account.
    """
    _check_active(by)
    item = held_to_change(item)
    read = _read(PLURALS[kind_of(item)], {**facts, "source": source, "licence": licence})
    if not read.source:
        raise InvalidInput(_source_missing(source))
    stated = [
        name for name, value in read.values.items() if is_stated(item, name) and getattr(item, name) != value
    ]
    if stated:
        raise Conflict([_already_stated(item, name, facts[name]) for name in stated])
    changed = change_item(item, read)
    if save_item(item, read, changed, by=by):
        data = {"facts": sorted(facts), "source": read.source}
        record("gear.completed", actor=by, subject_kind=kind_of(item), subject_id=item.slug, data=data)
    return item


def complete_fact(
    *, item: GearItem, fact: str, value: Any, source: str, by: Account, licence: str = ""
) -> GearItem:
    """One fact; see complete_facts."""
    return complete_facts(item=item, facts={fact: value}, source=source, by=by, licence=licence)


def _already_stated(item: GearItem, fact: str, value: Any) -> Problem:
    return Problem(
        code="fact-already-stated",
        field=fact,
        value=value,
        says=f"The catalogue already states {fact} of {item}: {getattr(item, fact)}.",
        remedy="Add your source to the fact instead; a moderator weighs them.",
    )


def _source_missing(source: str) -> Problem:
    return Problem(
        code="source-missing",
        field="source",
        value=source,
        says="The fact has no source.",
        remedy="Say where it can be looked up: a data sheet, a measurement of your own, a book's page.",
    )


def _propose(kind: str, by: Account, facts: Mapping[str, Any], new_maker: bool):
    _check_active(by)
    read = _read(kind, facts, may_make_makers=new_maker)
    model = KIND_MODELS[kind]
    item = new_item(kind, read, taken=slugs_ever(model), status=GearStatus.PROPOSED, proposed_by=by)
    _refuse_double(item)
    save_item(item, read, read.values, by=by)
    record(
        "gear.proposed", actor=by, subject_kind=kind_of(item), subject_id=item.slug, data={"name": str(item)}
    )
    return item


def _read(kind: str, row: Mapping[str, Any], *, may_make_makers: bool = False) -> Facts:
    facts, problems = read_facts(kind, row, KnownNames.load(may_make_makers=may_make_makers))
    if problems:
        raise InvalidInput(problems)
    return facts


def _refuse_double(item: GearItem) -> None:
    if item.maker.pk is None:
        return
    same = {"maker": item.maker, "name__iexact": item.name}
    if isinstance(item, Lens):
        same["optical_revision__iexact"] = item.optical_revision
    double = type(item).objects.filter(**same).first()
    if double:
        raise Conflict(
            Problem(
                code="already-in-catalogue",
                field="name",
                value=item.name,
                says=f"The catalogue already has {double}.",
                remedy=f"Use it: its address is {double.slug}. Another optical revision needs its own name.",
            )
        )


def _check_active(by: Account) -> None:
    check_not_blocked(by)
    if not by.is_active:
        raise NotAllowed(
            Problem(
                code="account-closed",
                says="A closed account can't add to the catalogue.",
                remedy="Sign in with an open one.",
            )
        )


def _as_text(facts: Facts, fact: str) -> str:
    stated = facts.values.get(fact, facts.mounts or facts.aliases)
    if stated is None:
        raise InvalidInput(
            Problem(
                code="fact-missing",
                field=fact,
                says=f"No value is given for {fact}.",
                remedy="State the value.",
            )
        )
    return (", ".join(map(str, stated)) if isinstance(stated, list) else str(stated))[:120]
