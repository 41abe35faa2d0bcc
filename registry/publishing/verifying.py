"""Proving a release: its files are those that were published, and its standings follow from its own evidence."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from types import SimpleNamespace

from registry.consensus import evidence
from registry.consensus.assessment import assess_lens
from registry.consensus.beliefs import Priors
from registry.consensus.cells import cut_on_band, focal_zone
from registry.consensus.constants import METHOD_VERSION, VISIBLE_EV
from registry.errors import Problem, Unreadable
from registry.publishing.comparing import table_rows
from registry.publishing.forms_compared import UNREADABLE, first_difference
from registry.publishing.tables import TABLES
from registry.standings.by_condition import condition_in, stated_fields
from registry.standings.queries.evidence import usable_entries
from registry.standings.rules import tinted_from

PATH = ("lens", "teleconverter", "adapter")
NESTED = [field.name for field in TABLES["standings"].fields if field.type in ("object", "array")]
# Of the program and the edition, not of the evidence.
NOT_COMPUTED = {*TABLES["standings"].key, "method_version", "priors"}


@dataclass
class Verified:
    """differences: in words, the first ones; empty when everything holds. standings: how many were computed anew."""

    files: int = 0
    standings: int = 0
    differences: list[str] = field(default_factory=list)

    @property
    def holds(self) -> bool:
        return not self.differences


MOST_DIFFERENCES = 20


def verify_release(folder: Path) -> Verified:
    """Check every checksum of a release's folder, then compute every standing from its files and compare the digits.

    Of a table that was changed, the first cell is named in which its two forms differ, and the standings are computed
    all the same, so that what the change does to them is told too. Raises Unreadable for a folder that is no release,
    or one of another version of the method.
    """
    outcome = Verified()
    package = _package(folder)
    _check_files(folder, package, outcome)
    files_hold = outcome.holds
    try:
        _check_method(folder)
        check_standings(folder, outcome)
    except (*UNREADABLE, Unreadable) as failure:
        if files_hold:
            raise
        outcome.differences.append(
            f"the standings can't be computed from what is left: {_short(str(failure))}"
        )
    return outcome


def check_standings(folder: Path, outcome: Verified) -> None:
    """Compute the standings anew from a release's evidence and priors; note what differs."""
    editions = {
        edition["number"]: Priors.from_dict(edition["content"])
        for edition in json.loads((folder / "priors.json").read_text())
    }
    stored = _by_path(_stored_standings(folder))
    evidence_rows = dict(_entries_by_path(folder))
    for row in table_rows(folder, "light_paths"):
        path = tuple(row.pop(name) for name in PATH)
        entries, tints = evidence_rows.get(path, ([], {}))
        optics = evidence.Lens(**row)
        usable, left_out = usable_entries(entries, optics)
        _compare(path, stored.pop(path, []), optics, (usable, left_out, tints), editions, outcome)
        if len(outcome.differences) >= MOST_DIFFERENCES:
            return
    outcome.differences += [f"{_named(path)}: a standing without evidence" for path in stored]


def _compare(
    path, rows: list[dict], optics, inputs: tuple, editions: dict[int, Priors], outcome: Verified
) -> None:
    usable, left_out, tints = inputs
    numbers = {row["priors"] for row in rows}
    if len(numbers) != 1 or not numbers <= set(editions):
        if usable:
            outcome.differences.append(f"{_named(path)}: no one edition of the priors, but {sorted(numbers)}")
        return
    priors = editions[numbers.pop()]
    # What a moderator decided to state by condition is an input, as the evidence is.
    condition = condition_in([row["detail"] for row in rows])
    fields = stated_fields(assess_lens(optics, usable, priors), usable, tints, priors, condition=condition)
    computed = {cell: values for cell, values in fields.items() if values["n_reports"]}
    stored = {(row["cut_on_group"], row["focal_zone"]): row for row in rows}
    for cell in sorted({*computed, *stored}):
        outcome.standings += 1
        where = f"{_named(path)}, {cell[0]}, {cell[1]} mm"
        if cell not in stored or cell not in computed:
            outcome.differences.append(
                f"{where}: {'not in the release' if cell in computed else 'not computed'}"
            )
            continue
        values = computed[cell]
        values["detail"] = values["detail"] | ({"left_out": left_out} if left_out else {})
        outcome.differences += [f"{where}: {said}" for said in _differing(stored[cell], values)]


def _differing(stored: dict, computed: dict) -> Iterator[str]:
    """To the last digit, as JSON writes them."""
    for name, value in stored.items():
        if name in NOT_COMPUTED:
            continue
        anew = _json(computed[name])
        if _json(value) != anew:
            yield f"{name} is {_short(_json(value))} in the release and {_short(anew)} computed anew"


def _stored_standings(folder: Path) -> Iterator[dict]:
    stops = {
        cell: [_stop(row) for row in rows]
        for cell, rows in groupby(
            table_rows(folder, "standing_stops"),
            key=lambda row: tuple(row[name] for name in TABLES["standings"].key),
        )
    }
    for row in table_rows(folder, "standings"):
        cell = tuple(row[name] for name in TABLES["standings"].key)
        yield row | {name: json.loads(row[name]) for name in NESTED} | {"stops": stops.get(cell, [])}


def _stop(row: dict) -> dict:
    return {name: value for name, value in row.items() if name not in TABLES["standings"].key}


def _by_path(rows: Iterator[dict]) -> dict[tuple, list[dict]]:
    grouped = defaultdict(list)
    for row in rows:
        grouped[tuple(row[name] for name in PATH)].append(row)
    return dict(grouped)


def _entries_by_path(folder: Path) -> Iterator[tuple[tuple, tuple[list, dict]]]:
    """Evidence of each light path, with where it is tinted."""
    readings = defaultdict(list)
    for row in table_rows(folder, "readings"):
        readings[row["entry"]].append(SimpleNamespace(**row))
    grouped = defaultdict(list)
    for row in table_rows(folder, "evidence"):
        grouped[tuple(row[name] for name in PATH)].append(row)
    for path, rows in grouped.items():
        yield path, ([_entry(row, readings) for row in rows], _tints(rows, readings))


def _entry(row: dict, readings: dict) -> evidence.Report:
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


def _tints(rows: list[dict], readings: dict) -> dict[tuple[str, str], float]:
    cells = defaultdict(list)
    for row in rows:
        group = cut_on_band(row["cut_on_nm"]) if row["cut_on_nm"] else row["cut_on_group"]
        if group and not row["claim_says"]:
            cells[group, focal_zone(row["focal_mm"])].extend(readings[row["entry"]])
    found = {cell: tinted_from(seen, VISIBLE_EV) for cell, seen in cells.items()}
    return {cell: f_number for cell, f_number in found.items() if f_number is not None}


def _package(folder: Path) -> dict:
    try:
        return json.loads((folder / "datapackage.json").read_text())
    except (OSError, ValueError) as failure:
        raise Unreadable(
            Problem(
                code="not-a-release",
                field="release",
                value=str(folder),
                says=f"“{folder}” holds no release: its datapackage.json can't be read.",
                remedy="Give the version of a release made here, or the folder of one that was downloaded whole.",
            )
        ) from failure


def _check_files(folder: Path, package: dict, outcome: Verified) -> None:
    listed = dict(reversed(line.split("  ", 1)) for line in (folder / "SHA256SUMS").read_text().splitlines())
    listed |= {
        resource["path"]: resource["hash"].removeprefix("sha256:") for resource in package["resources"]
    }
    for path, digest in sorted(listed.items()):
        outcome.files += 1
        file = folder / path
        if not file.is_file():
            outcome.differences.append(f"{path}: the file is missing")
        elif sha256_of(file) != digest:
            place = first_difference(folder, path)
            outcome.differences.append(
                f"{path}: the file is not the one that was published (its SHA-256 differs)"
                + (f"; {place}" if place else "")
            )


def _check_method(folder: Path) -> None:
    versions = {row["method_version"] for row in table_rows(folder, "standings", ["method_version"])}
    if versions - {METHOD_VERSION}:
        raise Unreadable(
            Problem(
                code="release-of-another-method",
                field="release",
                value=sorted(versions),
                says=f"The standings were computed by method {', '.join(sorted(versions))}; this program is method "
                f"{METHOD_VERSION}.",
                remedy="Verify it with the program's version that CHANGELOG.md names for that method.",
            )
        )


def sha256_of(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _json(value: object) -> str:
    return json.dumps(value, sort_keys=True)


def _short(text: str) -> str:
    return text if len(text) <= 120 else f"{text[:117]}…"


def _named(path: tuple[str, str, str]) -> str:
    return " with ".join(part for part in path if part)
