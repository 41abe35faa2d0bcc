"""What changed from one release to the next, from their own files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import pyarrow
import pyarrow.compute
import pyarrow.parquet

from registry.publishing.package import path_of
from registry.publishing.tables import TABLES

CELL = TABLES["standings"].key
ROWS_AT_ONCE = 8_000


def table_rows(
    folder: Path,
    name: str,
    columns: list[str] | None = None,
    among: tuple[str, pyarrow.Array] | None = None,
) -> Iterator[dict]:
    """Rows of a table of a release on disk, a few thousand at a time. among: a column and values, for the rows with
    one of them there."""
    file = pyarrow.parquet.ParquetFile(folder / path_of(TABLES[name], "parquet"))
    for batch in file.iter_batches(ROWS_AT_ONCE, columns=columns):
        if among:
            batch = batch.filter(pyarrow.compute.is_in(batch[among[0]], value_set=among[1]))
        yield from batch.to_pylist()


def changes_between(before: Path | None, now: Path, counts: Mapping[str, int]) -> dict:
    """first: whether there is no release before. reports: ids new, set aside and withdrawn since. lenses: slugs new.
    standings: cells whose words or confidence changed, with both."""
    if before is None:
        return {"first": True, "rows": dict(counts)}
    was, is_now = _reports(before), _reports(now)
    return {
        "first": False,
        "rows": dict(counts),
        "reports": {
            "new": sorted(set(is_now) - set(was)),
            "set_aside": sorted(_turned(was, is_now, "set-aside")),
            "withdrawn": sorted(_turned(was, is_now, "withdrawn")),
        },
        "lenses": {"new": sorted(_lenses(now) - _lenses(before))},
        "standings": _standings_changed(before, now),
    }


def changes_in_words(version: str, changes: Mapping) -> str:
    """CHANGES.md of a release."""
    lines = [f"# Release {version}", ""]
    if changes["first"]:
        return "\n".join([*lines, "The first release.", ""])
    reports = changes["reports"]
    for what, ids in (("new", "new"), ("set aside", "set_aside"), ("withdrawn", "withdrawn")):
        lines.append(f"- reports {what}: {len(reports[ids])}")
    lines += [f"- lenses new: {len(changes['lenses']['new'])}", ""]
    lines += [f"Standings that say something else ({len(changes['standings'])}):", ""]
    for change in changes["standings"]:
        glass = "".join(f" with {change[name]}" for name in ("teleconverter", "adapter") if change[name])
        place = f"{change['lens']}{glass}, {change['cut_on_group']}, {change['focal_zone']} mm"
        lines.append(f"- {place}: “{change['before']}” became “{change['after']}”")
    return "\n".join([*lines, ""])


def _reports(folder: Path) -> dict[str, str]:
    return {row["id"]: row["state"] for row in table_rows(folder, "reports", ["id", "state"])}


def _turned(was: Mapping[str, str], is_now: Mapping[str, str], state: str) -> Iterator[str]:
    return (report for report, stands in is_now.items() if stands == state and was.get(report) != state)


def _lenses(folder: Path) -> set[str]:
    return {
        row["slug"]
        for name in ("lenses", "lenses_other_licence")
        for row in table_rows(folder, name, ["slug"])
    }


def _standings_changed(before: Path, now: Path) -> list[dict]:
    was, is_now = _said(before), _said(now)
    return [
        dict(zip(CELL, cell, strict=True))
        | {"before": was.get(cell, "no reports"), "after": is_now.get(cell, "no reports")}
        for cell in sorted({*was, *is_now})
        if was.get(cell) != is_now.get(cell)
    ]


def _said(folder: Path) -> dict[tuple, str]:
    rows = table_rows(folder, "standings", [*CELL, "words", "confidence"])
    return {
        tuple(row[name] for name in CELL): row["words"]
        + (f" ({row['confidence']})" if row["confidence"] else "")
        for row in rows
    }
