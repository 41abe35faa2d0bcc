"""Carrying everything that points at one row over to another, noting each change so that it can be taken back.

Which tables point at gear is read from the models, so that no table is forgotten and this room needs to know none of
those above it. Where a row would stand beside one that says the same of the kept row (its twin), the twin stands for
both. A model may say otherwise with a method `give_way(twin) -> bool`: it settles what of its own the twin takes over,
and returns True if it has changed so that both may stay.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from django.apps import apps
from django.db.models import Field, Model, Q, UniqueConstraint


class Log:
    """What was done, as JSON can hold it: rows changed (each field before and after), added, and dropped whole."""

    def __init__(self, steps: list[dict[str, Any]] | None = None):
        self.steps = steps if steps is not None else []

    def changed(self, row: Model, before: dict[str, Any]) -> None:
        """Save what differs from before, in the database and here; a row that counts its writes counts this one."""
        if values_of(row) == before:
            return
        if "version" in before:
            row.version += 1
        now = values_of(row)
        differing = [name for name in now if now[name] != before[name]]
        type(row)._base_manager.filter(pk=row.pk).update(**{name: getattr(row, name) for name in differing})
        fields = {name: [before[name], now[name]] for name in differing if name != "version"}
        self._note("changed", row, fields=fields)

    def added(self, row: Model) -> None:
        self._note("added", row)

    def dropped(self, row: Model) -> None:
        """Note a row whole, and delete it."""
        lists = {
            field.name: sorted(getattr(row, field.name).values_list("pk", flat=True))
            for field in row._meta.many_to_many
        }
        self._note("dropped", row, fields=values_of(row), lists=lists)
        row.delete()

    def _note(self, step: str, row: Model, **more: Any) -> None:
        self.steps.append({"step": step, "table": row._meta.label, "pk": row.pk, **more})

    def take_back(self) -> None:
        """Do every step backwards. A field that was changed again meanwhile keeps its newer value."""
        for step in reversed(self.steps):
            model = apps.get_model(step["table"])
            match step["step"]:
                case "dropped":
                    _bring_back(model, step)
                case "added":
                    model._base_manager.filter(pk=step["pk"]).delete()
                case "changed":
                    _change_back(model, step)


def carry(old: Model, new: Model, log: Log) -> None:
    """Let every row that points at old point at new."""
    for field in _pointing_at(type(old)):
        # Locked, so that what is written back is what was read.
        rows = (
            field.model._base_manager.select_for_update(no_key=True)
            .filter(**{field.name: old})
            .order_by("pk")
        )
        for row in list(rows):
            twin = _twin(row, field, new)
            if twin is None or _gives_way(row, twin, log):
                before = values_of(type(row)._base_manager.get(pk=row.pk))
                setattr(row, field.attname, new.pk)
                log.changed(row, before)
            else:
                carry(row, twin, log)
                log.dropped(row)


def values_of(row: Model) -> dict[str, Any]:
    """A row's columns as JSON can hold them."""
    return {field.attname: _plain(field.value_from_object(row)) for field in row._meta.concrete_fields}


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def _pointing_at(model: type[Model]) -> Iterator[Field]:
    """Foreign keys of other tables; not the lists that belong to the row itself."""
    for relation in model._meta.get_fields(include_hidden=True):
        outside = relation.auto_created and not relation.concrete and not relation.many_to_many
        if outside and relation.related_model._meta.auto_created is not model:
            yield relation.field


def _twin(row: Model, field: Field, new: Model) -> Model | None:
    """The row that would say the same as this one, once it points at new: the database allows one of them."""
    rows = type(row)._base_manager
    for names, condition in _unique_together(type(row)):
        if field.name not in names:
            continue
        said = {name: getattr(row, row._meta.get_field(name).attname) for name in names} | {
            field.name: new.pk
        }
        holds = condition if condition is not None else Q()
        if None in said.values() or not rows.filter(holds, pk=row.pk).exists():
            continue
        if twin := rows.select_for_update(no_key=True).filter(holds, **said).exclude(pk=row.pk).first():
            return twin
    return None


def _unique_together(model: type[Model]) -> Iterator[tuple[tuple[str, ...], Q | None]]:
    for constraint in model._meta.constraints:
        if isinstance(constraint, UniqueConstraint):
            yield constraint.fields, constraint.condition
    for names in model._meta.unique_together:
        yield names, None
    for field in model._meta.concrete_fields:
        if field.unique:
            yield (field.name,), None


def _gives_way(row: Model, twin: Model, log: Log) -> bool:
    """Whether the row has made room for itself beside its twin."""
    settle = getattr(row, "give_way", None)
    if settle is None:
        return False
    before = values_of(twin)
    stays = settle(twin)
    log.changed(twin, before)
    return stays


def _bring_back(model: type[Model], step: dict[str, Any]) -> None:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    row = model(
        **{name: fields[name].to_python(value) for name, value in step["fields"].items() if name in fields}
    )
    row.save_base(raw=True, force_insert=True)  # raw: its times as they were
    for name, members in step["lists"].items():
        getattr(row, name).set(members)


def _change_back(model: type[Model], step: dict[str, Any]) -> None:
    row = model._base_manager.filter(pk=step["pk"]).first()
    if row is None:
        return
    now, fields = values_of(row), {field.attname: field for field in model._meta.concrete_fields}
    for name, (before, after) in step["fields"].items():
        if now[name] == after:
            setattr(row, name, fields[name].to_python(before))
    Log().changed(row, now)
