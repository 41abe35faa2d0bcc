"""What a page about a lens was made from, told by one short statement: equal stamps mean an equal page.

A stamp is no time but a count of writes wherever it can be: of two writers at once the later clock may commit first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from django.db import connection
from django.db.models import Count, Max, OuterRef, QuerySet, Subquery, Sum, Value

from registry.gear.models import FactSource, GearKind, Lens
from registry.ledger.models import Event
from registry.reports.models import Report
from registry.standings.models import Conflict, PriorsEdition, Standing

# Events after which another name stands under reports.
NAMES_CHANGE = ("account.closed", "account.renamed")


@dataclass(frozen=True)
class LensStamp:
    """lens_id: which lens. text: the state of what its page is made from."""

    lens_id: int
    text: str


def lens_stamp(slug: str) -> LensStamp | None:
    """The stamp of one lens: its facts, its reports, its standings and conflicts, and what they are computed under.
    None when there is no such lens. One statement, in which nothing grows with the catalogue."""
    row = _first(_lens_statement(connection.vendor), slug)
    return LensStamp(row[0], _as_text(row)) if row else None


def catalogue_stamp() -> str | None:
    """The stamp of what lists of lenses are made from: any lens's facts, any standing. One statement. None before
    the first standing."""
    row = _first(_catalogue_statement(connection.vendor))
    return _as_text(row) if row else None


def _first(statement: tuple[str, tuple], *asked: str) -> tuple | None:
    text, values = statement
    with connection.cursor() as cursor:
        cursor.execute(text, [asked[0] if value is _ASKED else value for value in values])
        return cursor.fetchone()


def _as_text(row: tuple) -> str:
    return " ".join(str(part) for part in row)


_ASKED = "the address asked for"


@cache
def _lens_statement(vendor: str) -> tuple[str, tuple]:
    """The statement as text, made once: building it costs more than the database needs to answer it."""
    return _statement(
        Lens.objects.filter(slug=_ASKED).values_list(
            "pk",
            "version",
            "updated_at",
            _alone(FactSource.objects.filter(gear_kind=GearKind.LENS, gear_slug=OuterRef("slug")), Max("pk")),
            _alone(Report.objects.filter(lens=OuterRef("pk")), Count("pk")),
            _alone(Report.objects.filter(lens=OuterRef("pk")), Sum("version")),
            _alone(Standing.objects.filter(lens=OuterRef("pk")), Max("computed_at")),
            _alone(Conflict.objects.filter(standing__lens=OuterRef("pk")), Max("updated_at")),
            _alone(PriorsEdition.objects.filter(in_force=True), Max("number")),
            _alone(Event.objects.filter(name__in=NAMES_CHANGE), Max("sequence")),
        )
    )


@cache
def _catalogue_statement(vendor: str) -> tuple[str, tuple]:
    editions = PriorsEdition.objects.filter(in_force=True)
    return _statement(
        editions.annotate(
            last_lens=_alone(Lens.objects.all(), Max("pk")),
            last_fact=_alone(Lens.objects.all(), Max("updated_at")),
            last_standing=_alone(Standing.objects.all(), Max("computed_at")),
        ).values_list("number", "last_lens", "last_fact", "last_standing")
    )


def _alone(rows: QuerySet, figure) -> Subquery:
    """One figure over some rows, as a part of a larger statement."""
    return Subquery(
        rows.order_by().annotate(all=Value(1)).values("all").annotate(figure=figure).values("figure")
    )


def _statement(rows: QuerySet) -> tuple[str, tuple]:
    return rows.order_by().query.sql_with_params()
