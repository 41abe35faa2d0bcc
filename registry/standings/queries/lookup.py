"""Looking lenses up: filters that combine, and one sentence with a small ladder per lens."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields

from django.db.models import Case, F, FloatField, IntegerField, Q, QuerySet, Value, When
from django.db.models.functions import Coalesce

from registry.consensus.assessment import StopChance
from registry.consensus.cells import UNSTATED, cut_on_band, zone_label
from registry.consensus.constants import SAME_STOP_AV, VISIBLE_EV
from registry.gear.models import Lens, Mount
from registry.gear.queries import find_lenses
from registry.optics.stops import check_f_number, exact_av, mark_of
from registry.standings.models import Standing
from registry.standings.queries.answers import (
    USUAL_CUT_ON_NM,
    check_reader,
    no_reports_sentence,
    untested_ladder,
)
from registry.standings.queries.leads import Leads, leading_rows, leads_at
from registry.standings.rules import LightPath
from registry.standings.shapes import stops_of

KINDS = ("prime", "zoom")
UNTESTED = ("hide", "only")
ORDERS = ("clean-limit", "confidence", "focal-length", "thread")
MOST_FOUND = 100
THREAD_TOLERANCE_MM = 0.05
WIDEST_THREAD_MM = 1e6  # lenses without a thread come after every thread


@dataclass(frozen=True)
class Criteria:
    """What a list of lenses is asked for; everything combines, and None or "" asks for nothing.

    search: a name as people write it. mount: a mount's slug. cut_on_nm, visible_ev: the reader's.
    kind: of KINDS. focal_mm: a focal length that the lens covers. thread: filter thread (mm).
    clean_to: the lens's worst tested zone is called clean at this f-number. confidence: that zone's, at least.
    untested: "hide" or "only" lenses without reports at this cut-on. among: slugs; only these lenses.
    order: of ORDERS; else the best matches first when searched, or by address.
    """

    search: str = ""
    mount: str | None = None
    cut_on_nm: float | None = None
    visible_ev: float = VISIBLE_EV
    kind: str | None = None
    focal_mm: float | None = None
    thread: float | None = None
    clean_to: float | None = None
    confidence: str | None = None
    untested: str | None = None
    among: tuple[str, ...] | None = None
    order: str | None = None

    def __post_init__(self):
        check_reader(self.cut_on_nm, self.visible_ev)
        if isinstance(self.mount, Mount):
            object.__setattr__(self, "mount", self.mount.slug)
        # Lists are computed and kept per tolerance: in steps of a hundredth, as the page offers them.
        object.__setattr__(self, "visible_ev", round(self.visible_ev, 2))

    @property
    def group(self) -> str:
        return cut_on_band(self.cut_on_nm or USUAL_CUT_ON_NM)

    @classmethod
    def names(cls) -> frozenset[str]:
        return frozenset(field.name for field in fields(cls))


@dataclass(frozen=True)
class LensRow:
    """One lens in a list. verdict, f_number, confidence: of its worst tested zone at the reader's cut-on.
    brief: the sentence without the zones that nobody tested."""

    lens: Lens
    sentence: str
    brief: str
    ladder: tuple[StopChance, ...]
    tested: bool
    verdict: str
    f_number: float | None
    confidence: str
    n_independent: int
    focal_zone: str


class LensList(Sequence):
    """The lenses found, as rows that are made when a part of the list is asked for."""

    def __init__(self, criteria: Criteria, *, count: int | None = None):
        """count: how many there are, where that is known."""
        self.criteria = criteria
        self.lenses = filter_lenses(criteria)
        self._count = count

    def __len__(self) -> int:
        if self._count is None:
            self._count = self.lenses.count()
        return self._count

    def __getitem__(self, place):
        if isinstance(place, slice):
            asked = self.criteria
            return lens_rows(self.lenses[place], cut_on_nm=asked.cut_on_nm, visible_ev=asked.visible_ev)
        return self[place : place + 1][0] if place >= 0 else list(self[:])[place]


def list_lenses(**criteria) -> LensList:
    """Lenses with what is said of them at the reader's cut-on and tolerance; see Criteria."""
    return LensList(Criteria(**criteria))


def found_by_name(search: str) -> list[int] | None:
    """Primary keys of the lenses that a search means, best first; None where nothing is searched."""
    return [match.lens.pk for match in find_lenses(search, limit=MOST_FOUND)] if search else None


def filter_lenses(criteria: Criteria) -> QuerySet[Lens]:
    """Lenses that pass every criterion, in the order asked for. Raises InvalidInput for an f-number that no lens
    shows."""
    leads, found = leads_at(criteria.group, criteria.visible_ev), found_by_name(criteria.search)
    return _in_order(passing(criteria, leads, found), criteria, leads, found)


def passing(criteria: Criteria, leads: Leads, found: list[int] | None) -> QuerySet[Lens]:
    """Lenses that pass every criterion, in no order. found: as found_by_name gives them."""
    lenses = leads.attach(Lens.objects.all())
    if found is not None:
        lenses = lenses.filter(pk__in=found)
    for name in Criteria.names():
        wanted = condition(name, getattr(criteria, name), leads)
        if wanted is not None:
            lenses = lenses.filter(wanted)
    return lenses


def condition(name: str, value: object, leads: Leads) -> Q | None:
    """What one criterion asks of a lens that `leads` are attached to; None where it asks nothing.

    The list and the counts beside each choice both rest on it, so that they can't disagree.
    """
    if name not in _CONDITIONS or value in (None, "", False):
        return None
    return _CONDITIONS[name](value, leads)


def _has_mount(slug: str, leads: Leads) -> Q:
    return Q(pk__in=Lens.mounts.through.objects.filter(mount__slug=slug).values("lens_id"))


def _is_kind(kind: str, leads: Leads) -> Q:
    is_zoom = Q(focal_max_mm__gt=F("focal_min_mm"))
    return is_zoom if kind == "zoom" else ~is_zoom


def _covers(focal_mm: float, leads: Leads) -> Q:
    return Q(focal_min_mm__lte=focal_mm, focal_max_mm__gte=focal_mm)


def _has_thread(thread: float, leads: Leads) -> Q:
    return Q(filter_thread_mm__range=(thread - THREAD_TOLERANCE_MM, thread + THREAD_TOLERANCE_MM))


def _clean_to(f_number: float, leads: Leads) -> Q:
    return leads.clean_to(exact_av(check_f_number(f_number, "clean_to")) - SAME_STOP_AV)


def _as_sure_as(confidence: str, leads: Leads) -> Q:
    return leads.as_sure_as(confidence)


def _tested(untested: str, leads: Leads) -> Q:
    return leads.untested() if untested == "only" else leads.tested()


def _among(slugs: Sequence[str], leads: Leads) -> Q:
    return Q(slug__in=slugs)


_CONDITIONS = {
    "mount": _has_mount,
    "kind": _is_kind,
    "focal_mm": _covers,
    "thread": _has_thread,
    "clean_to": _clean_to,
    "confidence": _as_sure_as,
    "untested": _tested,
    "among": _among,
}


def _in_order(
    lenses: QuerySet[Lens], criteria: Criteria, leads: Leads, found: list[int] | None
) -> QuerySet[Lens]:
    if criteria.order == "clean-limit":
        return lenses.annotate(place=leads.limit()).order_by("-place", "slug")
    if criteria.order == "confidence":
        return lenses.annotate(place=leads.sureness()).order_by("-place", "slug")
    if criteria.order == "focal-length":
        return lenses.order_by("focal_min_mm", "slug")
    if criteria.order == "thread":
        thread = Coalesce(F("filter_thread_mm"), Value(WIDEST_THREAD_MM), output_field=FloatField())
        return lenses.annotate(place=thread).order_by("place", "slug")
    if found:
        places = [When(pk=pk, then=Value(place)) for place, pk in enumerate(found)]
        return lenses.annotate(place=Case(*places, output_field=IntegerField())).order_by("place", "slug")
    return lenses.order_by("slug")


def lens_rows(
    lenses: Iterable[Lens],
    *,
    cut_on_nm: float | None = None,
    visible_ev: float = VISIBLE_EV,
    leads: Iterable[Standing] | None = None,
) -> list[LensRow]:
    """What is said of these lenses, in their order: two statements, or a few more for a tolerance of one's own that
    nobody asked for since the reports changed.

    leads: the leading standings of bare lenses to say it from, as a release froze them; else today's."""
    if isinstance(lenses, QuerySet):
        lenses = lenses.select_related("maker").prefetch_related("mounts")
    lenses = list(lenses)
    group = cut_on_band(cut_on_nm or USUAL_CUT_ON_NM)
    leading: dict[int, dict[str, Standing]] = {}
    if leads is None:
        leads = leading_rows(lenses, group, round(visible_ev, 2))
    for row in leads:
        leading.setdefault(row.lens_id, {})[row.cut_on_group] = row
    return [_row(lens, group, leading.get(lens.pk, {})) for lens in lenses]


def _row(lens: Lens, group: str, leading: dict[str, Standing]) -> LensRow:
    row = leading.get(group)
    if row is None:
        sentence = no_reports_sentence({key: [told] for key, told in leading.items()})
        ladder = untested_ladder(LightPath(lens))
        return LensRow(lens, sentence, sentence, ladder, False, "no-reports", None, "", 0, "")
    return row_of(lens, row, _brief(lens, row))


def row_of(lens: Lens, row: Standing, brief: str) -> LensRow:
    """A lens with what its leading standing says. brief: that in a few words."""
    return LensRow(
        lens=lens,
        sentence=row.sentence,
        brief=brief,
        ladder=stops_of(row.stops),
        tested=True,
        verdict=row.verdict,
        f_number=row.f_number,
        confidence=row.confidence,
        n_independent=row.n_independent,
        focal_zone=row.focal_zone,
    )


def _brief(lens: Lens, row: Standing) -> str:
    words = row.words
    if lens.is_zoom and row.focal_zone != UNSTATED:
        words += f" at {zone_label(row.focal_zone, lens.focal_min_mm, lens.focal_max_mm)}"
    tinted = row.detail.get("tinted_from")
    return f"{words}; tinted from {mark_of(tinted)}" if tinted else words
