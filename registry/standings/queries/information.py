"""How much one more report would teach, by lens and cut-on: also where nobody has reported yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.consensus.arrays import arrays_of
from registry.consensus.assessment import assess_arrays
from registry.consensus.cells import BANDS, zones_of
from registry.consensus.constants import VISIBLE_EV
from registry.gear.models import Lens
from registry.standings.queries.evidence import counting_reports, evidence_by_path, usable_entries
from registry.standings.queries.priors import priors_in_force
from registry.standings.rules import LightPath


@dataclass(frozen=True)
class Worth:
    """What one more report on a lens at one cut-on group would teach at most, in bits, and in which focal zone."""

    cut_on_group: str
    focal_zone: str
    bits: float


def information_of(lenses: Sequence[Lens]) -> dict[int, list[Worth]]:
    """Expected information of one more report on each bare lens, one entry per cut-on group, by primary key.

    Of a zoom's focal zones the one counts that a report would teach most about. A zone without evidence is
    assessed from the priors and the lens's other cells (methods, B6).
    """
    if not lenses:
        return {}
    evidence = evidence_by_path(counting_reports(*lenses))
    cases, asked = [], []
    for index, lens in enumerate(lenses):
        path = LightPath(lens)
        optics = path.optics()
        cases.append((optics, usable_entries(evidence.get(path, []), optics)[0]))
        zones = zones_of(optics.focal_min, optics.focal_max)
        asked += [(index, band, zone) for band in BANDS for zone in zones]
    priors = priors_in_force().at(VISIBLE_EV)
    standings = assess_arrays(arrays_of(cases, VISIBLE_EV, asked), priors)
    return _most_by_band(lenses, standings)


def _most_by_band(lenses: Sequence[Lens], standings) -> dict[int, list[Worth]]:
    cells = standings.rows.cells
    found: dict[int, dict[str, Worth]] = {lens.pk: {} for lens in lenses}
    for index, bits in enumerate(standings.information.tolist()):
        mine, band = found[lenses[int(cells.lens[index])].pk], cells.band[index]
        if band in BANDS and (band not in mine or bits > mine[band].bits):
            mine[band] = Worth(band, cells.zone[index], bits)
    return {pk: [worths[band] for band in BANDS if band in worths] for pk, worths in found.items()}
