"""Proving a release: its files are those that were published, and its standings follow from its own evidence."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from registry.consensus.assessment import assess_lens
from registry.consensus.beliefs import Priors
from registry.consensus.constants import METHOD_VERSION
from registry.errors import Problem, Unreadable
from registry.publishing.comparing import table_rows
from registry.publishing.forms_compared import UNREADABLE, first_difference
from registry.publishing.stored import StoredPath, stored_paths
from registry.publishing.tables import TABLES
from registry.standings.by_condition import condition_in, stated_fields
from registry.standings.queries.evidence import usable_entries

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
    for path in stored_paths(folder):
        _compare(path, editions, outcome)
        if len(outcome.differences) >= MOST_DIFFERENCES:
            return


def _compare(path: StoredPath, editions: dict[int, Priors], outcome: Verified) -> None:
    rows, named = path.standings, " with ".join(part for part in path.key if part)
    if path.optics is None:
        outcome.differences.append(f"{named}: not among the light paths")
        return
    usable, left_out = usable_entries(path.entries, path.optics)
    numbers = {row["priors"] for row in rows}
    if len(numbers) != 1 or not numbers <= set(editions):
        if usable:
            outcome.differences.append(f"{named}: no one edition of the priors, but {sorted(numbers)}")
        return
    priors = editions[numbers.pop()]
    # What a moderator decided to state by condition is an input, as the evidence is.
    condition = condition_in([row["detail"] for row in rows])
    assessment = assess_lens(path.optics, usable, priors)
    fields = stated_fields(assessment, usable, path.tints, priors, condition=condition)
    computed = {cell: values for cell, values in fields.items() if values["n_reports"]}
    stored = {(row["cut_on_group"], row["focal_zone"]): row for row in rows}
    for cell in sorted({*computed, *stored}):
        outcome.standings += 1
        where = f"{named}, {cell[0]}, {cell[1]} mm"
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
