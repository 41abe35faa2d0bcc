"""What a stored standing says of one focal length and stop: the clean range, the chance there, inside or not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from registry.consensus.cells import UNSTATED, cut_on_band, focal_zone
from registry.consensus.constants import SAME_STOP_AV, VISIBLE_EV
from registry.gear.models import Lens
from registry.optics.stops import exact_av
from registry.shotlists.facts import LensFacts
from registry.standings.models import Standing
from registry.standings.queries.answers import check_reader
from registry.standings.queries.leads import computed_rows

Zones = Mapping[str, Standing]
OPEN_ENDED = ("clean-throughout", "clean-as-far-as-tested")
NOWHERE_CLEAN = ("never-clean", "no-safe-stop")


@dataclass(frozen=True)
class CleanRange:
    """The stops from the widest to the clean limit at one focal length.

    clean_to: the last f-number stated as clean, None where none is. chance: of a clean frame there; 90 % interval
    from low to high. words, confidence: of the standing; tested: whether there is one.
    """

    lens: Lens
    focal_mm: float
    widest_f: float
    clean_to: float | None
    chance: float | None
    low: float | None
    high: float | None
    words: str
    confidence: str
    tested: bool

    @property
    def stops(self) -> float:
        """Length of the clean range in stops; 0 where nothing is stated as clean."""
        return exact_av(self.clean_to) - exact_av(self.widest_f) if self.clean_to else 0.0


def zones_of_lenses(
    lenses: Sequence[Lens], *, cut_on_nm: float, visible_ev: float = VISIBLE_EV
) -> dict[int, Zones]:
    """Standings of bare lenses at a cut-on (nm) and tolerance (EV), by lens's key and focal zone.

    One statement at the default tolerance, a handful at another one, which is computed anew.
    Raises InvalidInput as check_reader does.
    """
    check_reader(cut_on_nm, visible_ev)
    group = cut_on_band(cut_on_nm)
    found: dict[int, dict[str, Standing]] = {lens.pk: {} for lens in lenses}
    for row in _rows(lenses, group, visible_ev):
        if row.n_independent:
            found[row.lens_id][row.focal_zone] = row
    return found


def _rows(lenses: Sequence[Lens], group: str, visible_ev: float) -> list[Standing]:
    if visible_ev != VISIBLE_EV:
        return [row for row in computed_rows(lenses, visible_ev) if row.cut_on_group == group]
    bare = Standing.objects.filter(teleconverter=None, adapter=None, cut_on_group=group)
    return list(bare.filter(lens__in=list(lenses), n_reports__gt=0))


def standing_at(zones: Zones, lens: Lens, focal_mm: float) -> Standing | None:
    """The standing of a focal length; a prime's own where its reports didn't state one."""
    found = zones.get(focal_zone(focal_mm))
    return found or (None if lens.is_zoom else zones.get(UNSTATED))


def clean_range(lens: Lens, zones: Zones, focal_mm: float) -> CleanRange:
    """The clean range of a lens at a focal length in mm that it covers.

    A zoom's widest stop between its ends is inferred, as for shot lists.
    """
    standing = standing_at(zones, lens, focal_mm)
    facts = LensFacts(lens.focal_min_mm, lens.focal_max_mm, lens.widest_f, lens.widest_f_tele)
    widest, _ = facts.widest_at(focal_mm)
    last = last_clean(standing) if standing else None
    if last and exact_av(last["f_number"]) < exact_av(widest) - SAME_STOP_AV:
        last = None  # clean only at stops that other focal lengths of the zone open to
    return CleanRange(
        lens=lens,
        focal_mm=focal_mm,
        widest_f=min(widest, last["f_number"]) if last else widest,
        clean_to=last["f_number"] if last else None,
        chance=last["p_clean"] if last else None,
        low=last["low"] if last else None,
        high=last["high"] if last else None,
        words=standing.words if standing else "",
        confidence=standing.confidence if standing else "",
        tested=standing is not None,
    )


def last_clean(standing: Standing) -> dict | None:
    """The last tested stop that the standing, or its one report, calls clean: a step as Standing.stops keeps it."""
    if standing.clean_to_av is None:
        return None
    limit = standing.clean_to_av + SAME_STOP_AV
    clean = [stop for stop in standing.stops if stop["tested"] and exact_av(stop["f_number"]) <= limit]
    return max(clean, key=lambda stop: exact_av(stop["f_number"]), default=None)


def is_clean(standing: Standing | None, f_number: float) -> bool | None:
    """Whether an f-number lies in the clean range that a standing states; None where it doesn't say."""
    if standing is None:
        return None
    said = standing.detail.get("says") or {"code": standing.verdict, "f_number": standing.f_number}
    if standing.clean_to_av is not None:
        if exact_av(f_number) <= standing.clean_to_av + SAME_STOP_AV:
            return True
        return None if said["code"] in OPEN_ENDED else False
    if said["code"] == "hot-from":
        hot = exact_av(f_number) >= exact_av(said["f_number"]) - SAME_STOP_AV
        return False if hot else None
    return False if said["code"] in NOWHERE_CLEAN else None
