"""Looking gear up: by what people type, by what cameras write, by address."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Max, Model, QuerySet, prefetch_related_objects

from registry.errors import NotFound, Problem
from registry.gear.models import (
    Adapter,
    Body,
    FactSource,
    Filter,
    GearItem,
    GearKind,
    Lens,
    LensAlias,
    Maker,
    Merge,
    Mount,
    Teleconverter,
)
from registry.gear.names import comparable, nearest, tokens_of
from registry.gear.search import NameIndex
from registry.ledger.models import Event

REFUSED = "gear.refused"  # the event
MODELS: dict[str, type[GearItem]] = {
    GearKind.LENS: Lens,
    GearKind.BODY: Body,
    GearKind.FILTER: Filter,
    GearKind.TELECONVERTER: Teleconverter,
    GearKind.ADAPTER: Adapter,
}


@dataclass(frozen=True)
class LensMatch:
    """score: 0 to 1; 1 when every word and figure typed is in the name and nothing else is."""

    lens: Lens
    score: float


def find_lenses(text: str, *, limit: int = 8, mount: Mount | str | None = None) -> list[LensMatch]:
    """Lenses whose names are like a text, best first; typing mistakes are forgiven.

    mount: a mount, or its slug, that the lens must have.
    """
    hits = _lens_index().find(text)
    if mount is not None and hits:
        slug = mount.slug if isinstance(mount, Mount) else mount
        allowed = set(Lens.objects.filter(mounts__slug=slug).values_list("pk", flat=True))
        hits = [hit for hit in hits if hit.number in allowed]
    hits = hits[:limit]
    lenses = Lens.objects.select_related("maker").in_bulk([hit.number for hit in hits])
    return [LensMatch(lenses[hit.number], hit.score) for hit in hits if hit.number in lenses]


def nearest_lenses(name: str, *, limit: int = 3) -> list[Lens]:
    """For "did you mean": the lenses whose names are most like one that is not known."""
    return [match.lens for match in find_lenses(name, limit=limit)]


def match_exif_lens(name: str, *, mount: Mount | str | None = None) -> Lens | None:
    """The one lens that a camera means by a lens name, or None if no lens or more than one fits.

    A camera may leave the maker and the optical revision out, and may write an alias. It makes no typing
    mistakes, so nothing is forgiven: a lens filled in wrongly is worse than one left for the person to pick.
    """
    written, whole = set(tokens_of(name)), comparable(name)
    near = [match.lens for match in find_lenses(name, limit=25, mount=mount)]
    prefetch_related_objects(near, "aliases")
    aliased, named = [], []
    for lens in near:
        if any(comparable(alias.written) == whole for alias in lens.aliases.all()):
            aliased.append(lens)
        needed = set(tokens_of(lens.name))
        optional = set(tokens_of(f"{lens.maker.name} {lens.optical_revision}"))
        if needed <= written <= needed | optional:
            named.append(lens)
    exact = [lens for lens in named if comparable(str(lens)) == whole]
    for candidates in (aliased, exact, named):
        if candidates:
            return candidates[0] if len(candidates) == 1 else None
    return None


def find_gear(kind: str, text: str, *, limit: int = 8) -> list[GearItem]:
    """Bodies, filters, teleconverters or adapters whose names are like a text, best first."""
    items = {item.pk: item for item in MODELS[kind].objects.select_related("maker")}
    index = NameIndex((pk, str(item)) for pk, item in items.items())
    return [items[hit.number] for hit in index.find(text)[:limit]]


def gear_by_slug(kind: str, slug: str, *, field: str = "") -> GearItem:
    """The piece of gear at an address. Raises NotFound that names the nearest known."""
    item = MODELS[kind].objects.select_related("maker").filter(slug=slug).first()
    if item is None:
        now = where_now(kind, slug)
        raise NotFound(
            Problem(
                code=f"unknown-{kind}",
                field=field or kind,
                value=slug,
                says=f"The registry knows no {kind} “{slug}”.",
                remedy=f"It was found to be the same as “{now}”: use that."
                if now
                else did_you_mean(slug.replace("-", " "), _names_with_slugs(MODELS[kind]))
                or f"Look the {kind} up by name, or propose it.",
            )
        )
    return item


def where_now(kind: str, slug: str) -> str | None:
    """The address at which gear is kept whose former address this is; None where it is none."""
    seen = {slug}
    while kept := Merge.objects.filter(kind=kind, former_slug=slug, taken_back_at=None).first():
        slug = kept.kept_slug
        if slug in seen:  # taken back and merged the other way round: it is at home
            break
        seen.add(slug)
    return slug if len(seen) > 1 else None


def former_slugs(item: GearItem) -> list[str]:
    """Addresses that lead to this piece of gear now, through however many merges."""
    kind, found, fresh = kind_of(item), [], [item.slug]
    while fresh:
        rows = Merge.objects.filter(kind=kind, kept_slug__in=fresh, taken_back_at=None)
        fresh = [slug for slug in rows.values_list("former_slug", flat=True) if slug not in found]
        found += fresh
    return found


def gear_now(kind: str, slug: str) -> GearItem:
    """The piece of gear that an address means today, its own or a former one. Raises NotFound."""
    return gear_by_slug(kind, where_now(kind, slug) or slug)


def lenses_at(slugs: Iterable[str]) -> dict[str, Lens]:
    """Lenses by these addresses; a former address leads to the lens that stands for it now. Unknown ones are left
    out."""
    asked = set(slugs)
    rows = Lens.objects.select_related("maker").prefetch_related("mounts")
    found = {lens.slug: lens for lens in rows.filter(slug__in=asked)}
    moved = {slug: now for slug in asked - set(found) if (now := where_now(GearKind.LENS, slug))}
    there = {lens.slug: lens for lens in rows.filter(slug__in=moved.values())} if moved else {}
    return found | {slug: there[now] for slug, now in moved.items() if now in there}


def slugs_ever(model: type[GearItem]) -> set[str]:
    """Every address that a kind of gear has or had, refused proposals' too: none is given twice."""
    kind = model._meta.model_name
    former = Merge.objects.filter(kind=kind).values_list("former_slug", flat=True)
    refused = Event.objects.filter(name=REFUSED, subject_kind=kind).values_list("subject_id", flat=True)
    return {*model.objects.values_list("slug", flat=True), *former, *refused}


def kept_under_other_names(model: type[GearItem]) -> list[tuple[GearItem, GearItem]]:
    """Merged doubles as they were, each with the piece of gear that stands for it now."""
    kind, found = model._meta.model_name, []
    for merge in Merge.objects.filter(kind=kind, taken_back_at=None):
        kept = model.objects.select_related("maker").filter(slug=where_now(kind, merge.former_slug)).first()
        if kept is not None:
            found.append((_as_it_was(model, merge), kept))
    return found


def gear_once_at(kind: str, slug: str) -> GearItem:
    """The piece of gear at an address; a merged double as it was, for what was frozen while it stood there.
    Raises NotFound."""
    model = MODELS[kind]
    merge = Merge.objects.filter(kind=kind, former_slug=slug, taken_back_at=None).first()
    if merge is None or model.objects.filter(slug=slug).exists():
        return gear_by_slug(kind, slug)
    return _as_it_was(model, merge)


def _as_it_was(model: type[GearItem], merge: Merge) -> GearItem:
    step = next(step for step in reversed(merge.log["steps"]) if step["table"] == model._meta.label)
    return model(**step["fields"])


def mount_by_slug(slug: str) -> Mount:
    """Raises NotFound that names the nearest known."""
    mount = Mount.objects.filter(slug=slug).first()
    if mount is None:
        known = list(Mount.objects.values_list("slug", flat=True))
        raise NotFound(
            Problem(
                code="unknown-mount",
                field="mount",
                value=slug,
                says=f"The registry knows no mount “{slug}”.",
                remedy=did_you_mean(slug, known) or f"Known are: {', '.join(known)}.",
            )
        )
    return mount


def maker_by_slug(slug: str) -> Maker:
    """Raises NotFound that names the nearest known."""
    maker = Maker.objects.filter(slug=slug).first()
    if maker is None:
        known = list(Maker.objects.values_list("slug", flat=True))
        raise NotFound(
            Problem(
                code="unknown-maker",
                field="maker",
                value=slug,
                says=f"The registry knows no maker “{slug}”.",
                remedy=did_you_mean(slug, known) or "Look the maker up in the list of makers.",
            )
        )
    return maker


def did_you_mean(text: str, names: list[str]) -> str:
    """ "Did you mean A, B or C?", or nothing if no name is like the text."""
    near = nearest(text, names)
    if not near:
        return ""
    return f"Did you mean {', '.join(near[:-1]) + ' or ' if len(near) > 1 else ''}{near[-1]}?"


def sources_of(item: GearItem) -> QuerySet:
    """Where the facts about a piece of gear come from, oldest first."""
    return FactSource.objects.filter(gear_kind=kind_of(item), gear_slug=item.slug)


def kind_of(item: Model) -> str:
    return item._meta.model_name


def _names_with_slugs(model: type[GearItem]) -> list[str]:
    return list(model.objects.values_list("slug", flat=True))


_index: tuple[object, NameIndex] | None = None


def _lens_index() -> NameIndex:
    """The index over lens names, kept by this process until a name changes in the database."""
    global _index
    edition = _names_edition()
    if _index is None or _index[0] != edition:
        names = [
            (pk, f"{maker} {name} {revision}")
            for pk, maker, name, revision in Lens.objects.order_by(
                "maker__name", "focal_min_mm", "name"
            ).values_list("pk", "maker__name", "name", "optical_revision")
        ]
        names += LensAlias.objects.order_by("pk").values_list("lens_id", "written")
        _index = (edition, NameIndex(names))
    return _index[1]


def _names_edition() -> tuple:
    lenses = Lens.objects.aggregate(Count("pk"), Max("pk"), Max("updated_at"))
    aliases = LensAlias.objects.aggregate(Count("pk"), Max("pk"))
    makers = tuple(Maker.objects.order_by("pk").values_list("pk", "name"))
    return (*lenses.values(), *aliases.values(), makers)
