"""Writing read facts into the catalogue: the one way in for imports and proposals."""

from __future__ import annotations

from typing import Any

from registry.errors import InvalidInput, Problem
from registry.gear.facts import Facts, missing_facts
from registry.gear.models import FactSource, GearItem, Lens, LensAlias
from registry.gear.names import slug_for
from registry.gear.rules import KIND_MODELS, check_item


def new_item(kind: str, facts: Facts, *, taken: set[str], **status: Any):
    """An unsaved piece of gear with a stable address that none of `taken` has.

    Raises InvalidInput with every problem of what it lacks and contradicts.
    """
    problems = missing_facts(kind, facts)
    if problems:
        raise InvalidInput(problems)
    item = KIND_MODELS[kind](**facts.values, **status)
    _check(item)
    limit = item._meta.get_field("slug").max_length
    revision = facts.values.get("optical_revision", "")
    maker = facts.values.get("maker")
    item.slug = slug_for(facts.slug or f"{maker or ''} {item.name} {revision}", taken=taken, limit=limit)
    return item


def change_item(item, facts: Facts) -> dict[str, Any]:
    """Set what the facts state otherwise than the item does; return those facts by name.

    Nothing is saved. Raises InvalidInput when the item would contradict itself.
    """
    changed = {name: value for name, value in facts.values.items() if getattr(item, name) != value}
    for name, value in changed.items():
        setattr(item, name, value)
    _check(item)
    return changed


def save_item(item, facts: Facts, changed: dict[str, Any], *, by) -> bool:
    """Save the item with its mounts, aliases and the sources of its changed facts.

    Returns whether anything in the database changed.
    """
    is_new = item.pk is None
    maker = getattr(item, "maker", None)
    if maker is not None and maker.pk is None:
        maker.save()
        item.maker = maker
    if is_new:
        item.save()
    elif changed:
        if isinstance(item, GearItem):
            item.version += 1
        item.save()
    listed = _save_mounts(item, facts) | _save_aliases(item, facts)
    if facts.source:
        _save_sources(item, facts, changed, by=by)
    return is_new or bool(changed) or listed


def _check(item) -> None:
    problems = check_item(item)
    if problems:
        raise InvalidInput(problems)


def _save_mounts(item, facts: Facts) -> bool:
    """Mounts stated are added; none is taken away, for a file may know only one of a lens's mounts."""
    if not facts.mounts:
        return False
    new = set(facts.mounts) - set(item.mounts.all())
    item.mounts.add(*new)
    return bool(new)


def _save_aliases(item, facts: Facts) -> bool:
    if not facts.aliases or not isinstance(item, Lens):
        return False
    taken = {alias.written: alias.lens_id for alias in LensAlias.objects.filter(written__in=facts.aliases)}
    for written, lens_id in taken.items():
        if lens_id != item.pk:
            raise InvalidInput(
                Problem(
                    code="alias-of-another-lens",
                    field="aliases",
                    value=written,
                    says=f"“{written}” already stands for another lens.",
                    remedy="Leave it out: a name that cameras write must mean one lens.",
                )
            )
    new = [written for written in dict.fromkeys(facts.aliases) if written not in taken]
    LensAlias.objects.bulk_create(LensAlias(lens=item, written=written) for written in new)
    return bool(new)


def _save_sources(item, facts: Facts, changed: dict[str, Any], *, by) -> None:
    FactSource.objects.bulk_create(
        FactSource(
            gear_kind=item._meta.model_name,
            gear_slug=item.slug,
            fact=name,
            value=str(value)[:120],
            source=facts.source,
            licence=facts.licence,
            added_by=by,
        )
        for name, value in changed.items()
        if name not in ("maker", "name")
    )
