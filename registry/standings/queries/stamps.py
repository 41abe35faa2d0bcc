"""What a page about a lens was made from, told by one short statement: equal stamps mean an equal page.

A stamp is no time but a count of writes wherever it can be: of two writers at once the later clock may commit first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.db import connection
from django.db.models import Count, Expression, Max, OuterRef, QuerySet, Subquery, Sum, Value

from registry.gear.models import FactSource, GearKind, Lens
from registry.ledger.models import Event
from registry.reports.models import Report
from registry.standings.models import Conflict, PriorsEdition, Standing

# Events after which another name stands under reports.
NAMES_CHANGE = ("account.closed", "account.renamed")
_ASKED = "the address asked for"


def figure_of(rows: QuerySet, figure: Expression) -> Subquery:
    """One figure over some rows, as a part of a larger statement."""
    alone = rows.order_by().annotate(all=Value(1)).values("all")
    return Subquery(alone.annotate(figure=figure).values("figure"))


def lens_figures() -> tuple[Subquery, ...]:
    """Of one lens: its sources, reports, standings and conflicts, and what they are computed under."""
    mine = {"lens": OuterRef("pk")}
    return (
        figure_of(FactSource.objects.filter(gear_kind=GearKind.LENS, gear_slug=OuterRef("slug")), Max("pk")),
        figure_of(Report.objects.filter(**mine), Count("pk")),
        figure_of(Report.objects.filter(**mine), Sum("version")),
        figure_of(Standing.objects.filter(**mine), Max("computed_at")),
        figure_of(Conflict.objects.filter(standing__lens=OuterRef("pk")), Max("updated_at")),
        figure_of(PriorsEdition.objects.filter(in_force=True), Max("number")),
        figure_of(Event.objects.filter(name__in=NAMES_CHANGE), Max("sequence")),
    )


def catalogue_figures() -> tuple[Subquery, ...]:
    """Of all lenses: the newest, the last fact written, the last standing computed. Each is found by index."""
    return (
        figure_of(Lens.objects.all(), Max("pk")),
        figure_of(Lens.objects.all(), Max("updated_at")),
        figure_of(Standing.objects.all(), Max("computed_at")),
    )


@dataclass(frozen=True)
class LensStamp:
    """text: the state of a lens and of what is said of it. more: of what else was asked for."""

    text: str
    more: str = ""


class StampStatement:
    """The one statement that tells a lens's stamp. also: makes the figures that a page shows beside the lens's own;
    called once, when the first page is asked for."""

    def __init__(self, also: Callable[[], tuple[Subquery, ...]] = tuple):
        self._also = also
        self._made: dict[str, tuple[str, tuple]] = {}
        self._own = 0

    def of(self, slug: str) -> LensStamp | None:
        """The stamp of the lens at an address, None where there is none."""
        text, values = self._statement()
        row = _first(text, [slug if value is _ASKED else value for value in values])
        return LensStamp(_as_text(row[: self._own]), _as_text(row[self._own :])) if row else None

    def _statement(self) -> tuple[str, tuple]:
        """As text, made once: building it costs more than the database needs to answer it."""
        if connection.vendor not in self._made:
            own = ("pk", "version", "updated_at", *lens_figures())
            columns = Lens.objects.filter(slug=_ASKED).order_by().values_list(*own, *self._also())
            self._own = len(own)
            self._made[connection.vendor] = columns.query.sql_with_params()
        return self._made[connection.vendor]


_LENS = StampStatement()


def lens_stamp(slug: str) -> LensStamp | None:
    """The stamp of one lens. One statement, in which nothing grows with the catalogue."""
    return _LENS.of(slug)


_CATALOGUE: dict[str, tuple[str, tuple]] = {}


def catalogue_stamp() -> str | None:
    """The stamp of what lists of lenses are made from: any lens's facts, any standing. One statement. None before
    the first standing."""
    if connection.vendor not in _CATALOGUE:
        rows = PriorsEdition.objects.filter(in_force=True).order_by()
        _CATALOGUE[connection.vendor] = rows.values_list(
            "number", *catalogue_figures()
        ).query.sql_with_params()
    row = _first(*_CATALOGUE[connection.vendor])
    return _as_text(row) if row else None


def _first(statement: str, values: list | tuple) -> tuple | None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        return cursor.fetchone()


def _as_text(row: tuple) -> str:
    return " ".join(str(part) for part in row)
