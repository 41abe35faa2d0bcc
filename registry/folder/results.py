"""What measuring a folder leaves behind: a table of every frame, and one picture for each sweep."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from registry.folder.measure import FrameResult
from registry.folder.sweep_picture import sweep_svg
from registry.spreadsheets import table_text

TABLE = "frames.csv"
HEADINGS = (
    "set_up", "frame", "purpose", "sweep", "focal_length_mm", "f_number", "status", "excess_ev", "excess_low",
    "excess_high", "radius", "centre_x", "centre_y", "tint_rg", "tint_bg", "reason",
)  # fmt: skip


def write_results(results: Sequence[FrameResult], folder: Path) -> list[Path]:
    """Write the table and the pictures into a folder, which is made if need be; returns their paths, the table first.

    The table is CSV in UTF-8 with a byte order mark, by which spreadsheets know it: excesses in EV with the ends of
    their 95 % intervals, the radius and the patch's centre in half-diagonals from the middle of the frame.
    """
    folder.mkdir(parents=True, exist_ok=True)
    table = folder / TABLE
    table.write_text("\ufeff" + table_text(HEADINGS, map(_row, results)), encoding="utf-8", newline="")
    written = [table]
    for name, members in sweeps_of(results).items():
        picture = folder / f"sweep-{_plain(name)}.svg"
        picture.write_text(sweep_svg(name, members), encoding="utf-8")
        written.append(picture)
    return written


def sweeps_of(results: Iterable[FrameResult]) -> dict[str, list[FrameResult]]:
    """The frames of each sweep by its name, in the order they were measured."""
    sweeps: dict[str, list[FrameResult]] = {}
    for result in results:
        if result.sweep is not None:
            sweeps.setdefault(result.sweep, []).append(result)
    return sweeps


def _row(result: FrameResult) -> list[object]:
    told = result.to_dict()
    x, y = told["centre"] or (None, None)
    numbers = [
        told["ev"],
        told["ev_lo"],
        told["ev_hi"],
        told["radius"],
        x,
        y,
        told["tint_rg"],
        told["tint_bg"],
    ]
    return [
        result.frame.file.set_up,
        result.frame.file.key,
        result.frame.file.purpose,
        told["sweep"] or "",
        told["focal_length_mm"],
        told["f_number"],
        told["status"],
        *(None if number is None else round(number, 4) for number in numbers),
        told["reason"] or "",
    ]


def _plain(name: str) -> str:
    """A sweep's name as a file may be called on any machine."""
    return re.sub(r"[^\w.]+", "-", name).strip("-.") or "frames"
