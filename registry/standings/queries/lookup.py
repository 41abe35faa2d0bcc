"""Looking lenses up: filters that combine, and one sentence with a small ladder per lens."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Value, When

from registry.consensus.assessment import StopChance, assess_catalogue
from registry.consensus.cells import UNSTATED, cut_on_band, zone_label
from registry.consensus.constants import SAME_STOP_AV, VISIBLE_EV
from registry.consensus.verdicts import CONFIDENCES
from registry.gear.models import Lens, Mount
from registry.gear.queries import find_lenses
from registry.optics.stops import check_f_number, exact_av, mark_of
from registry.standings.models import Standing
from registry.standings.queries.answers import (
    USUAL_CUT_ON_NM,
    check_reader,
    no_reports_sentence,
    unsaved_rows,
    untested_ladder,
)
from registry.standings.queries.evidence import counting_reports, evidence_by_path, usable_entries
from registry.standings.queries.priors import priors_in_force
from registry.standings.queries.tints import tints_by_cell
from registry.standings.rules import LightPath
from registry.standings.shapes import fields_by_cell, stops_of

KINDS = ("prime", "zoom")
UNTESTED = ("hide", "only")
MOST_FOUND = 100
THREAD_TOLERANCE_MM = 0.05


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

    def __init__(self, lenses: QuerySet[Lens], cut_on_nm: float, visible_ev: float):
        self.lenses, self.cut_on_nm, self.visible_ev = lenses, cut_on_nm, visible_ev
        self._count: int | None = None

    def __len__(self) -> int:
        if self._count is None:
            self._count = self.lenses.count()
        return self._count

    def __getitem__(self, place):
        if isinstance(place, slice):
            return lens_rows(self.lenses[place], cut_on_nm=self.cut_on_nm, visible_ev=self.visible_ev)
        return self[place : place + 1][0] if place >= 0 else list(self[:])[place]


def list_lenses(
    *, cut_on_nm: float | None = None, visible_ev: float = VISIBLE_EV, search: str = "", **filters
) -> LensList:
    """Lenses with what is said of them at the reader's cut-on and tolerance; see filter_lenses."""
    lenses = filter_lenses(search=search, cut_on_nm=cut_on_nm, visible_ev=visible_ev, **filters)
    return LensList(lenses, cut_on_nm or USUAL_CUT_ON_NM, visible_ev)


def filter_lenses(
    *,
    search: str = "",
    mount: Mount | str | None = None,
    cut_on_nm: float | None = None,
    visible_ev: float = VISIBLE_EV,
    kind: str | None = None,
    focal_mm: float | None = None,
    thread: float | None = None,
    clean_to: float | None = None,
    confidence: str | None = None,
    untested: str | None = None,
) -> QuerySet[Lens]:
    """Lenses that pass every given filter: the best matches first when searched, else by address.

    mount: a mount or its slug. kind: "prime" or "zoom". focal_mm: a focal length that the lens covers.
    thread: filter thread (mm). clean_to: the lens's worst tested zone is called clean at this f-number.
    confidence: that zone's, at least. untested: "hide" or "only" lenses without reports at this cut-on.
    """
    check_reader(cut_on_nm, visible_ev)
    lenses = Lens.objects.all()
    if mount is not None:
        lenses = lenses.filter(mounts__slug=mount.slug if isinstance(mount, Mount) else mount)
    if kind in KINDS:
        zooms = Q(focal_max_mm__gt=F("focal_min_mm"))
        lenses = lenses.filter(zooms if kind == "zoom" else ~zooms)
    if focal_mm is not None:
        lenses = lenses.filter(focal_min_mm__lte=focal_mm, focal_max_mm__gte=focal_mm)
    if thread is not None:
        near = (thread - THREAD_TOLERANCE_MM, thread + THREAD_TOLERANCE_MM)
        lenses = lenses.filter(filter_thread_mm__range=near)
    lenses = _ranked(lenses, search) if search else lenses.order_by("slug")
    group = cut_on_band(cut_on_nm or USUAL_CUT_ON_NM)
    return _by_standing(lenses, group, visible_ev, clean_to, confidence, untested)


def lens_rows(
    lenses: Iterable[Lens], *, cut_on_nm: float | None = None, visible_ev: float = VISIBLE_EV
) -> list[LensRow]:
    """What is said of these lenses, in their order: two statements, or four for a tolerance of one's own."""
    if isinstance(lenses, QuerySet):
        lenses = lenses.select_related("maker").prefetch_related("mounts")
    lenses = list(lenses)
    group = cut_on_band(cut_on_nm or USUAL_CUT_ON_NM)
    leading: dict[int, dict[str, Standing]] = {}
    for row in _leading_rows(lenses, group, visible_ev):
        leading.setdefault(row.lens_id, {})[row.cut_on_group] = row
    return [_row(lens, group, leading.get(lens.pk, {})) for lens in lenses]


def _ranked(lenses: QuerySet[Lens], search: str) -> QuerySet[Lens]:
    found = [match.lens.pk for match in find_lenses(search, limit=MOST_FOUND)]
    if not found:
        return lenses.none()
    places = [When(pk=pk, then=Value(place)) for place, pk in enumerate(found)]
    ranked = lenses.filter(pk__in=found).annotate(place=Case(*places, output_field=IntegerField()))
    return ranked.order_by("place", "slug")


def _by_standing(lenses, group, visible_ev, clean_to, confidence, untested) -> QuerySet[Lens]:
    wanted = Q()
    if clean_to is not None:
        wanted &= Q(clean_to_av__gte=exact_av(check_f_number(clean_to, "clean_to")) - SAME_STOP_AV)
    if confidence in CONFIDENCES:
        wanted &= Q(confidence__in=CONFIDENCES[CONFIDENCES.index(confidence) :])
    if not wanted and untested not in UNTESTED:
        return lenses
    if visible_ev != VISIBLE_EV:
        return _by_own_tolerance(lenses, group, visible_ev, wanted, untested)
    leads = _bare_leads().filter(lens=OuterRef("pk"), cut_on_group=group)
    if wanted:
        lenses = lenses.filter(Exists(leads.filter(wanted)))
    if untested in UNTESTED:
        lenses = lenses.filter(~Exists(leads) if untested == "only" else Exists(leads))
    return lenses


def _by_own_tolerance(lenses, group, visible_ev, wanted: Q, untested) -> QuerySet[Lens]:
    """As the stored standings decide, but from rows computed for the reader's own tolerance."""
    rows = {
        row.lens_id: row
        for row in _leading_rows(list(lenses), group, visible_ev)
        if row.cut_on_group == group
    }
    passing = {pk for pk, row in rows.items() if _passes(row, wanted)}
    if untested == "only":
        passing = set() if wanted else {lens.pk for lens in lenses} - set(rows)
    return lenses.filter(pk__in=passing)


def _passes(row: Standing, wanted: Q) -> bool:
    tests = {
        "clean_to_av__gte": lambda least: row.clean_to_av is not None and row.clean_to_av >= least,
        "confidence__in": lambda allowed: row.confidence in allowed,
    }
    return all(tests[name](value) for name, value in wanted.children)


def _bare_leads() -> QuerySet[Standing]:
    return Standing.objects.filter(leads=True, teleconverter=None, adapter=None)


def _leading_rows(lenses: list[Lens], group: str, visible_ev: float) -> list[Standing]:
    if visible_ev == VISIBLE_EV:
        return list(_bare_leads().filter(lens__in=lenses, cut_on_group__in=(group, UNSTATED)))
    reports = counting_reports(*lenses) if lenses else []
    paths = {path: entries for path, entries in evidence_by_path(reports).items() if path.is_bare}
    cases = [(optics := path.optics(), usable_entries(entries, optics)[0]) for path, entries in paths.items()]
    rows: list[Standing] = []
    assessments = assess_catalogue(cases, priors_in_force(), visible_ev)
    for path, (_, entries), assessment in zip(paths, cases, assessments, strict=True):
        tints = tints_by_cell(reports, path, visible_ev)
        rows += unsaved_rows(path, fields_by_cell(assessment, entries, tints, visible_ev))
    return [row for row in rows if row.leads and row.cut_on_group in (group, UNSTATED)]


def _row(lens: Lens, group: str, leading: dict[str, Standing]) -> LensRow:
    row = leading.get(group)
    if row is None:
        sentence = no_reports_sentence({key: [told] for key, told in leading.items()})
        ladder = untested_ladder(LightPath(lens))
        return LensRow(lens, sentence, sentence, ladder, False, "no-reports", None, "", 0, "")
    return LensRow(
        lens=lens,
        sentence=row.sentence,
        brief=_brief(lens, row),
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
