"""Importing gear from CSV or JSON: every bad line is reported, and none of the file is taken unless told to skip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from django.db import IntegrityError, transaction

from registry.accounts.models import Account
from registry.errors import CleanstopError, InvalidInput, Problem
from registry.gear.facts import Facts, KnownNames, read_facts
from registry.gear.holding import held_to_change
from registry.gear.models import GearItem, Lens
from registry.gear.queries import kept_under_other_names, slugs_ever
from registry.gear.rules import FACTS, KIND_MODELS
from registry.gear.storing import change_item, new_item, save_item
from registry.gear.tables import Rows, numbered_rows
from registry.ledger.services import record


@dataclass
class ImportOutcome:
    """problems: pairs of line and Problem. The line is the file's own for CSV, the item's place for JSON and
    rows. When problems stopped the import, the counts are what it would have done, and `imported` is False."""

    created: int = 0
    updated: int = 0
    unchanged: int = 0
    problems: list[tuple[int, Problem]] = field(default_factory=list)
    imported: bool = False


def import_gear(
    kind: str,
    source: Path | str | IO | Rows,
    *,
    by: Account | None = None,
    skip_bad: bool = False,
    dry_run: bool = False,
    create_makers: bool = False,
) -> ImportOutcome:
    """Import makers, mounts, lenses, bodies, filters, teleconverters or adapters.

    source: path of a .csv or .json file, an open file with such content, or rows.
    A row updates the gear of the same maker, name and optical revision (or the same slug), else adds it; an
    empty cell leaves what is known. Importing twice changes nothing. Addresses once given never change.
    skip_bad: take the good rows though there are bad ones. dry_run: change nothing, only tell.
    Raises InvalidInput for an unknown kind, Unreadable for a file that is no such table.
    """
    if kind not in FACTS:
        raise InvalidInput(_unknown_kind(kind))
    outcome = ImportOutcome()
    with transaction.atomic():
        catalogue = _Catalogue(kind, create_makers, by)
        for line, row in numbered_rows(source):
            try:
                # A savepoint, so that what the database itself refuses is reported like the rest.
                with transaction.atomic():
                    effect = catalogue.take(line, row)
            except (CleanstopError, IntegrityError) as refusal:
                catalogue.forget_unsaved_makers()
                outcome.problems += [(line, problem) for problem in _problems_of(refusal)]
            else:
                setattr(outcome, effect, getattr(outcome, effect) + 1)
        outcome.imported = not dry_run and (skip_bad or not outcome.problems)
        if not outcome.imported:
            transaction.set_rollback(True)
        elif outcome.created or outcome.updated:
            data = {"created": outcome.created, "updated": outcome.updated}
            record("gear.imported", actor=by, subject_kind="catalogue", subject_id=kind, data=data)
    return outcome


class _Catalogue:
    """One kind of gear as it is, loaded once, and what each row does to it."""

    def __init__(self, kind: str, create_makers: bool, by: Account | None):
        self.kind, self.by = kind, by
        self.known = KnownNames.load(may_make_makers=create_makers)
        model = KIND_MODELS[kind]
        related = [name for name in ("maker", "mount", "lens_mount", "body_mount") if name in FACTS[kind]]
        items = list(model.objects.select_related(*related)) if related else list(model.objects.all())
        self.by_key = {_key(item): item for item in items}
        self.by_slug = {item.slug: item for item in items}
        self.formerly: set[tuple | str] = set()
        self.taken: set[str] = set()
        if issubclass(model, GearItem):
            self.taken = slugs_ever(model)
            self._know_merged(model)
        self.first_lines: dict[tuple, int] = {}

    def _know_merged(self, model: type[GearItem]) -> None:
        """A row about a double that was merged is about what it was merged into."""
        for former, kept in kept_under_other_names(model):
            for known, name in ((self.by_key, _key(former)), (self.by_slug, former.slug)):
                if name not in known:
                    known[name] = kept
                    self.formerly.add(name)

    def take(self, line: int, row: Mapping[str, Any]) -> str:
        """Do what the row says; returns the name of the count it belongs to."""
        facts, problems = read_facts(self.kind, row, self.known)
        if problems:
            raise InvalidInput(problems)
        item = self.by_slug.get(facts.slug) if facts.slug else None
        item = item or self.by_key.get(_key_of(facts))
        if item is None:
            item = new_item(self.kind, facts, taken=self.taken | set(self.by_slug))
            self._refuse_repeated(_key(item), line)
            save_item(item, facts, facts.values, by=self.by)
            self.by_key[_key(item)] = self.by_slug[item.slug] = item
            return "created"
        self._refuse_repeated(_key(item), line)
        known_as, item = item, self._held_afresh(item)
        if item.pk != known_as.pk or self.formerly & {facts.slug, _key_of(facts)}:
            for name in ("maker", "name", "optical_revision"):
                facts.values.pop(name, None)  # it keeps its name, not that of the double merged into it
        changed = change_item(item, facts)
        if not save_item(item, facts, changed, by=self.by):
            return "unchanged"
        self.by_key[_key(item)] = self.by_slug[item.slug] = item
        return "updated"

    def _held_afresh(self, item):
        """The item, or the one that it was merged into meanwhile, for this transaction alone to change. Read anew, so
        that a refused change leaves no trace."""
        if isinstance(item, GearItem):
            return held_to_change(item)
        return KIND_MODELS[self.kind].objects.get(pk=item.pk)

    def forget_unsaved_makers(self) -> None:
        """A refused row may have brought a maker, who was not saved or whose saving was undone with the row."""
        self.known = KnownNames.load(may_make_makers=self.known.may_make_makers)

    def _refuse_repeated(self, key: tuple, line: int) -> None:
        first = self.first_lines.setdefault(key, line)
        if first != line:
            raise InvalidInput(
                Problem(
                    code="named-twice",
                    field="name",
                    value=key[-1] or key[1],
                    says=f"The row is about the same piece of gear as line {first}.",
                    remedy="Keep one of the two.",
                )
            )


def _key(item) -> tuple:
    maker = getattr(item, "maker", None)
    revision = item.optical_revision if isinstance(item, Lens) else ""
    return (maker.slug if maker else "", item.name.casefold(), revision.casefold())


def _key_of(facts: Facts) -> tuple | None:
    values = facts.values
    if "name" not in values:
        return None
    maker = values.get("maker")
    return (
        maker.slug if maker else "",
        values["name"].casefold(),
        values.get("optical_revision", "").casefold(),
    )


def _problems_of(refusal: CleanstopError | IntegrityError) -> tuple[Problem, ...]:
    if isinstance(refusal, CleanstopError):
        return refusal.problems
    return (
        Problem(
            code="refused-by-database",
            says=f"The database refused the row: {refusal}.",
            remedy="Compare the row with the catalogue; it may contradict another one.",
        ),
    )


def _unknown_kind(kind: str) -> Problem:
    return Problem(
        code="unknown-kind",
        field="kind",
        value=kind,
        says=f"“{kind}” is no kind of gear.",
        remedy=f"Use one of {', '.join(FACTS)}.",
    )
