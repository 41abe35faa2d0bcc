"""What the registry answers when someone asks about one lens at their cut-on and tolerance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.db.models import F

from registry.consensus.assessment import StopChance, assess_lens
from registry.consensus.cells import UNSTATED, band_label, cut_on_band, zone_label, zones_of
from registry.consensus.constants import METHOD_VERSION, VISIBLE_EV
from registry.consensus.exchange import check_visible_ev
from registry.errors import InvalidInput, Problem
from registry.gear.models import Adapter, Lens, Teleconverter
from registry.standings.by_condition import stated_fields
from registry.standings.models import Standing
from registry.standings.queries.evidence import counting_reports, evidence_by_path, usable_entries
from registry.standings.queries.findings import FindingSummary, findings_of
from registry.standings.queries.priors import edition_in_force, priors_in_force
from registry.standings.queries.split_paths import conditions_in_force
from registry.standings.queries.tints import tints_by_cell
from registry.standings.rules import LightPath
from registry.standings.shapes import NO_REPORTS, stops_of

# Whoever names no cut-on is answered for the usual conversion, 720 nm (common practice, no source).
USUAL_CUT_ON_NM = 720.0
WAVELENGTHS_NM = (400.0, 1100.0)


@dataclass(frozen=True)
class ZoneAnswer:
    """One focal zone at one cut-on group. stops: the ladder, widest first; an untested zone's steps have tested
    False and no chance. limit: clean limit in Av, "low", "median", "high" (90 % interval), "open_low", "open_high"."""

    zone: str
    label: str
    tested: bool
    verdict: str
    words: str
    f_number: float | None
    confidence: str
    n_reports: int
    n_independent: int
    stops: tuple[StopChance, ...]
    limit: dict
    causes: list[dict]
    suspects: list[dict]
    agreement: dict
    detail: dict
    expected_information: float

    @property
    def says(self) -> tuple[str, float | None]:
        """The verdict's code and stop; where there is one report so far, its own."""
        alone = self.detail.get("says")
        return (alone["code"], alone["f_number"]) if alone else (self.verdict, self.f_number)

    @property
    def tinted_from(self) -> float | None:
        return self.detail.get("tinted_from")

    @property
    def disagrees(self) -> bool:
        return self.verdict == "reports-differ" or bool(self.suspects)


@dataclass(frozen=True)
class BandAnswer:
    """One cut-on group: its sentence and its zones, those that nobody tested among them."""

    group: str
    label: str
    sentence: str
    zones: tuple[ZoneAnswer, ...]
    worst: ZoneAnswer | None

    @property
    def tested(self) -> bool:
        return self.worst is not None


@dataclass(frozen=True)
class LensAnswer:
    """The answer for one light path. here: at the reader's cut-on; others: the other groups with evidence."""

    path: LightPath
    cut_on_nm: float | None
    visible_ev: float
    here: BandAnswer
    others: tuple[BandAnswer, ...]
    findings: list[FindingSummary] = field(default_factory=list)
    priors_number: int = 0  # the edition of the priors that the standings were computed under
    method_version: str = METHOD_VERSION
    stated_on: date | None = None  # when its standings were last computed; None without any

    @property
    def lens(self) -> Lens:
        return self.path.lens

    @property
    def sentence(self) -> str:
        return self.here.sentence

    @property
    def worst(self) -> ZoneAnswer | None:
        return self.here.worst

    @property
    def zones(self) -> tuple[ZoneAnswer, ...]:
        return self.here.zones


def lens_answer(
    lens: Lens,
    *,
    cut_on_nm: float | None = None,
    visible_ev: float = VISIBLE_EV,
    teleconverter: Teleconverter | None = None,
    adapter: Adapter | None = None,
) -> LensAnswer:
    """What is known of a lens at the reader's cut-on (nm) and tolerance (EV).

    Stored standings answer for the default tolerance; another one is computed here and now from the evidence.
    Raises InvalidInput for a wavelength outside 400–1100 nm or a tolerance outside .03–.30 EV.
    """
    check_reader(cut_on_nm, visible_ev)
    path = LightPath(lens, teleconverter, adapter if adapter and adapter.has_glass else None)
    if visible_ev == VISIBLE_EV:
        rows = standing_rows(lens, teleconverter=path.teleconverter, adapter=path.adapter)
    else:
        rows = rows_at(path, visible_ev)
    return answer_from(
        path,
        rows,
        cut_on_nm=cut_on_nm,
        visible_ev=visible_ev,
        findings=findings_of(lens),
        priors_number=_edition_of(rows),
        method_version=max((row.method_version for row in rows), default="") or METHOD_VERSION,
        stated_on=max((row.computed_at.date() for row in rows if row.computed_at), default=None),
    )


def answer_from(
    path: LightPath,
    rows: Sequence[Standing],
    *,
    cut_on_nm: float | None,
    visible_ev: float = VISIBLE_EV,
    **known,
) -> LensAnswer:
    """The answer that standings give, stored or not. known: the other fields of LensAnswer."""
    by_group: dict[str, list[Standing]] = {}
    for row in rows:
        by_group.setdefault(row.cut_on_group, []).append(row)
    group = cut_on_band(cut_on_nm or USUAL_CUT_ON_NM)
    return LensAnswer(
        path=path,
        cut_on_nm=cut_on_nm,
        visible_ev=visible_ev,
        here=_band_answer(path, group, by_group),
        others=tuple(_band_answer(path, other, by_group) for other in sorted(by_group) if other != group),
        **known,
    )


def standing_rows(
    lens: Lens, *, teleconverter: Teleconverter | None = None, adapter: Adapter | None = None
) -> list[Standing]:
    """Stored standings of one light path that rest on reports, each with edition_number: of the priors it was computed
    under."""
    rows = Standing.objects.filter(lens=lens, teleconverter=teleconverter, adapter=adapter, n_reports__gt=0)
    return list(rows.annotate(edition_number=F("priors__number")))


def _edition_of(rows: Sequence[Standing]) -> int:
    """Number of the priors that rows were computed under; where none is stored of those in force, 0 without any."""
    numbers = [row.edition_number for row in rows if row.pk]
    if numbers:
        return max(numbers)
    edition = edition_in_force()
    return edition.number if edition else 0


def rows_at(path: LightPath, visible_ev: float) -> list[Standing]:
    """The standings of one light path for a reader's own tolerance (EV), computed and not stored."""
    reports = counting_reports(path.lens)
    entries = evidence_by_path(reports).get(path, [])
    optics = path.optics(reading.f_number for entry in entries for reading in entry.readings)
    usable, _ = usable_entries(entries, optics)
    priors = priors_in_force()
    assessment = assess_lens(optics, usable, priors, visible_ev=visible_ev)
    tints = tints_by_cell(reports, path, visible_ev)
    condition = conditions_in_force([path.lens]).get((path.lens.pk, *path.key))
    fields = stated_fields(assessment, usable, tints, priors, condition=condition, visible_ev=visible_ev)
    return unsaved_rows(path, fields)


def unsaved_rows(path: LightPath, fields: Mapping[tuple[str, str], dict]) -> list[Standing]:
    return [
        Standing(
            lens=path.lens,
            teleconverter=path.teleconverter,
            adapter=path.adapter,
            cut_on_group=group,
            focal_zone=zone,
            **values,
        )
        for (group, zone), values in fields.items()
        if values["n_reports"]
    ]


def check_reader(cut_on_nm: float | None, visible_ev: float) -> None:
    """Raises InvalidInput for a cut-on or a tolerance that no reader can have."""
    low, high = WAVELENGTHS_NM
    if cut_on_nm is not None and not low <= cut_on_nm <= high:
        raise InvalidInput(
            Problem(
                code="wavelength-out-of-range",
                field="cut_on_nm",
                value=cut_on_nm,
                says=f"“{cut_on_nm:g}” is not a cut-on between {low:g} and {high:g} nm.",
                remedy="Give the wavelength in nm that the converter or the filter states, such as 720.",
            )
        )
    check_visible_ev(visible_ev)


def no_reports_sentence(by_group: Mapping[str, Sequence[Standing]]) -> str:
    """What to say at a cut-on without reports: nothing, or what reports say that don't state their cut-on."""
    words = NO_REPORTS["words"]
    unstated = next((row.sentence for row in by_group.get(UNSTATED, ()) if row.leads), "")
    return f"{words} at this cut-on; where none is stated: {unstated}" if unstated else words


def _band_answer(path: LightPath, group: str, by_group: Mapping[str, Sequence[Standing]]) -> BandAnswer:
    """The zones of one cut-on group: those that standings tell of, and those that the lens also covers."""
    optics = path.optics()
    stored = {row.focal_zone: row for row in by_group.get(group, ())}
    zones = dict.fromkeys([*zones_of(optics.focal_min, optics.focal_max), *sorted(stored)])
    answers = {
        zone: _zone_answer(stored.get(zone), zone, zone_label(zone, optics.focal_min, optics.focal_max), path)
        for zone in sorted(zones, key=_by_focal_length)
    }
    leading = next((row for row in stored.values() if row.leads), None)
    return BandAnswer(
        group=group,
        label=band_label(group),
        sentence=leading.sentence if leading else no_reports_sentence(by_group),
        zones=tuple(answers.values()),
        worst=answers[leading.focal_zone] if leading else None,
    )


def _by_focal_length(zone: str) -> tuple[bool, float]:
    return (zone == UNSTATED, 0.0 if zone == UNSTATED else float(zone.split("-")[0]))


def _zone_answer(row: Standing | None, zone: str, label: str, path: LightPath) -> ZoneAnswer:
    known = row or Standing(**NO_REPORTS)
    return ZoneAnswer(
        zone=zone,
        label=label,
        tested=bool(row and row.n_independent),
        verdict=known.verdict,
        words=known.words,
        f_number=known.f_number,
        confidence=known.confidence,
        n_reports=known.n_reports,
        n_independent=known.n_independent,
        stops=stops_of(known.stops) or untested_ladder(path),
        limit=known.limit,
        causes=known.causes,
        suspects=known.suspects,
        agreement=known.agreement,
        detail=known.detail,
        expected_information=known.expected_information,
    )


def untested_ladder(path: LightPath) -> tuple[StopChance, ...]:
    """The steps of a ladder that nobody has tested: no chance is claimed."""
    return tuple(StopChance(f_number, None, None, None, tested=False) for f_number in path.ladder())
