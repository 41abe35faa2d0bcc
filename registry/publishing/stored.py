"""A release's standings and their evidence, read back from its files.

Some lenses at a time, however many there are: each time the tables are read through once for the rows that are theirs,
whatever order they stand in.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from types import SimpleNamespace

import pyarrow

from registry.consensus import evidence
from registry.consensus.cells import cut_on_band, focal_zone
from registry.consensus.constants import VISIBLE_EV
from registry.publishing.comparing import table_rows
from registry.publishing.tables import TABLES
from registry.standings.rules import tinted_from

Key = tuple[str, str, str]
PATH = ("lens", "teleconverter", "adapter")
CELL = TABLES["standings"].key
NESTED = [field.name for field in TABLES["standings"].fields if field.type in ("object", "array")]
ENTRIES_AT_ONCE = 4_000
LENSES_AT_ONCE = 250
READ = ["entry", "f_number", "av", "excess_ev", "excess_se", "grade", "tint_rg", "tint_bg"]


@dataclass
class StoredPath:
    """One light path: its row of the table of light paths (None: not there), its standings, and what they rest on."""

    key: Key
    optics: evidence.Lens | None = None
    standings: list[dict] = field(default_factory=list)
    entries: list[evidence.Report] = field(default_factory=list)
    tints: dict[tuple[str, str], float] = field(default_factory=dict)


def stored_paths(folder: Path) -> Iterator[StoredPath]:
    """Every light path that a release has evidence or standings on."""
    for lenses in _lenses_at_once(folder):
        paths: dict[Key, StoredPath] = {}
        for row in _rows_on(folder, "light_paths", lenses):
            path = _of(row, paths)
            path.optics = evidence.Lens(**{name: value for name, value in row.items() if name not in PATH})
        for row in _standings_on(folder, lenses):
            _of(row, paths).standings.append(row)
        _add_evidence(folder, lenses, paths)
        yield from paths.values()


def _lenses_at_once(folder: Path) -> Iterator[list[str]]:
    """Lenses a few at a time; one lens's evidence is read together, however much."""
    entries: dict[str, int] = {}
    for name in ("light_paths", "standings", "evidence"):
        for row in table_rows(folder, name, ["lens"]):
            entries[row["lens"]] = entries.get(row["lens"], 0) + (name == "evidence")
    lenses: list[str] = []
    held = 0
    for lens, count in entries.items():
        if lenses and (len(lenses) == LENSES_AT_ONCE or held + count > ENTRIES_AT_ONCE):
            yield lenses
            lenses, held = [], 0
        lenses.append(lens)
        held += count
    if lenses:
        yield lenses


def _rows_on(folder: Path, name: str, lenses: Collection[str]) -> Iterator[dict]:
    return table_rows(folder, name, among=("lens", pyarrow.array(lenses)))


def _of(row: Mapping, paths: dict[Key, StoredPath]) -> StoredPath:
    key = tuple(row[name] for name in PATH)
    return paths.setdefault(key, StoredPath(key))


def _standings_on(folder: Path, lenses: Collection[str]) -> Iterator[dict]:
    stops = {
        cell: [{name: value for name, value in row.items() if name not in CELL} for row in rows]
        for cell, rows in groupby(_rows_on(folder, "standing_stops", lenses), key=_cell)
    }
    for row in _rows_on(folder, "standings", lenses):
        yield row | {name: json.loads(row[name]) for name in NESTED} | {"stops": stops.get(_cell(row), [])}


def _cell(row: Mapping) -> tuple:
    return tuple(row[name] for name in CELL)


def _add_evidence(folder: Path, lenses: Collection[str], paths: dict[Key, StoredPath]) -> None:
    """Evidence of each light path, with where it is tinted."""
    rows: dict[Key, list[dict]] = defaultdict(list)
    for row in _rows_on(folder, "evidence", lenses):
        rows[_of(row, paths).key].append(row)
    entries = pyarrow.array([row["entry"] for mine in rows.values() for row in mine], pyarrow.string())
    readings = defaultdict(list)
    for row in table_rows(folder, "readings", READ, among=("entry", entries)):
        readings[row["entry"]].append(SimpleNamespace(**row))
    for key, mine in rows.items():
        paths[key].entries = [_entry(row, readings) for row in mine]
        paths[key].tints = _tints(mine, readings)


def _entry(row: dict, readings: Mapping[str, Sequence]) -> evidence.Report:
    claim = evidence.Claim(row["claim_says"], row["claim_f_number"]) if row["claim_says"] else None
    return evidence.Report(
        id=row["entry"],
        readings=() if claim else tuple(_reading(reading) for reading in readings[row["entry"]]),
        claim=claim,
        **{
            name: row[name] if row[name] != "" else None
            for name in (
                *("tester", "copy", "source", "cut_on_nm", "cut_on_group", "focal_mm"),
                *("filter_position", "body", "method"),
            )
        },
    )


def _reading(row: SimpleNamespace) -> evidence.Reading:
    if row.excess_ev is not None:
        return evidence.Reading(f_number=row.f_number, ev=row.excess_ev, ev_se=row.excess_se)
    return evidence.Reading(f_number=row.f_number, grade=row.grade)


def _tints(rows: list[dict], readings: Mapping[str, Sequence]) -> dict[tuple[str, str], float]:
    cells = defaultdict(list)
    for row in rows:
        group = cut_on_band(row["cut_on_nm"]) if row["cut_on_nm"] else row["cut_on_group"]
        if group and not row["claim_says"]:
            cells[group, focal_zone(row["focal_mm"])].extend(readings[row["entry"]])
    found = {cell: tinted_from(seen, VISIBLE_EV) for cell, seen in cells.items()}
    return {cell: f_number for cell, f_number in found.items() if f_number is not None}
