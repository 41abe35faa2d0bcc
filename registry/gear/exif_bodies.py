"""Bodies by what cameras write of themselves."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Count, Max

from registry.gear.models import Body, Maker
from registry.gear.names import comparable, tokens_of


@dataclass(frozen=True)
class _Index:
    """Numbers of bodies by name. calling_itself: by the model that its files bear; called: by its name with and
    without its maker, together with the first word of that maker, which has to be there too."""

    edition: tuple
    calling_itself: dict[str, set[int]] = field(default_factory=dict)
    called: dict[str, set[tuple[int, str]]] = field(default_factory=dict)

    def find(self, maker: str, model: str) -> set[int]:
        words = tokens_of(f"{maker} {model}")
        found: set[int] = set()
        for written in (comparable(model), comparable(f"{maker} {model}")):
            found |= self.calling_itself.get(written, set())
            found |= {number for number, makers_word in self.called.get(written, ()) if makers_word in words}
        return found


_kept: _Index | None = None


def match_exif_body(maker: str, model: str) -> Body | None:
    """The one body that a camera means by its make and model, or None if no body or more than one fits."""
    if not comparable(model):
        return None
    found = _index().find(maker, model)
    return Body.objects.select_related("maker").filter(pk__in=found).first() if len(found) == 1 else None


def _index() -> _Index:
    """The index over all bodies, kept by this process until a name changes in the database."""
    global _kept
    bodies = Body.objects.aggregate(Count("pk"), Max("pk"), Max("updated_at"))
    edition = (*bodies.values(), *Maker.objects.order_by("pk").values_list("pk", "name"))
    if _kept is None or _kept.edition != edition:
        _kept = _built(edition)
    return _kept


def _built(edition: tuple) -> _Index:
    index = _Index(edition)
    rows = Body.objects.order_by().values_list("pk", "maker__name", "name", "exif_model")
    for number, maker, name, exif_model in rows:
        if exif_model:
            index.calling_itself.setdefault(comparable(exif_model), set()).add(number)
        makers_words = comparable(maker).split()
        for called in (comparable(name), comparable(f"{maker} {name}")) if makers_words else ():
            index.called.setdefault(called, set()).add((number, makers_words[0]))
    return index
