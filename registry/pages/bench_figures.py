"""What the benches measured, as the method page shows it: their kept files in, tables and plots out.

Each file of registry/pages/measured holds {"made": day, "command": …, "seed": …, "rows": […]} as a bench wrote it with
--record. A file that is missing means: not measured here; the page says so.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from registry.consensus.descriptive import wilson_interval
from registry.pages.plots import Axis, Frame, Point, Tick

FOLDER = Path(__file__).parent / "measured"
OURS, TRUTH = "this method", "truth itself"
WORLD_NAMES = {
    "home": "usual",
    "table": "the first draft's, many errors",
    "table with causes": "the same, four in ten split by a cause",
    "causes": "half the lenses split by a cause",
    "tails": "heavy errors, many wrong reports",
    "calm": "careful testers",
    "bands": "everyone at several wavelengths",
    "two-humped": "good lenses and bad ones",
}
"""What the simulated worlds of the consensus bench are like."""

SQUARE = Frame(width=344, height=300, left=52, right=322, top=14, bottom=256)
WIDE = Frame(width=344, height=230, left=52, right=322, top=14, bottom=186)
COVERAGE_FROM = 0.7


@dataclass(frozen=True)
class Kept:
    """One bench's figures: the day and command that made them, and its content."""

    made: str
    command: str
    seed: int | None
    content: Mapping


@dataclass(frozen=True)
class Table:
    """head: column names; rows: cells as text, the first naming the row."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Curve:
    """Points with intervals, joined in their order. place: its number, for its look; name: for its label."""

    name: str
    place: int
    points: tuple[Point, ...]

    @property
    def line(self) -> str:
        return " ".join(f"{point.x},{point.y}" for point in self.points)


@dataclass(frozen=True)
class BenchPlot:
    """Curves on two axes, with the path of what they should follow."""

    frame: Frame
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    wanted: str
    curves: tuple[Curve, ...]

    @property
    def middle(self) -> float:
        return (self.frame.left + self.frame.right) / 2


def kept(name: str) -> Kept | None:
    """A bench's figures; None where it has not been run with --record."""
    path = FOLDER / f"{name}.json"
    return _read(path, path.stat().st_mtime_ns) if path.is_file() else None


@lru_cache(maxsize=16)
def _read(path: Path, changed: int) -> Kept:
    content = json.loads(path.read_text(encoding="utf-8"))
    return Kept(content["made"], content["command"], content.get("seed"), content)


@dataclass(frozen=True)
class MeasuredTable:
    """A table and the bench that it comes from."""

    kept: Kept
    table: Table


def for_method_page() -> dict:
    """Everything that the method page shows of the benches, by its template's names; None for what wasn't measured."""
    tables = {
        "accuracy": ("measurement_accuracy", plain_table),
        "frame_speed": ("measurement_speed", plain_table),
        "scores": ("consensus_calibration", scores_table),
        "consensus_speed": ("consensus_speed", plain_table),
    }
    shown: dict = {
        key: MeasuredTable(measured, table_of(measured)) if (measured := kept(name)) else None
        for key, (name, table_of) in tables.items()
    }
    calibration = kept("consensus_calibration")
    if calibration:
        shown |= {"calibration": calibration_plot(calibration), "coverage": coverage_plot(calibration)}
        shown["flood"] = _flood(calibration.content["flood"])
    return shown


def _flood(moved: Mapping[str, Sequence[float]]) -> dict[str, float]:
    """How far one wrong report and twenty of one person move our chances, and twenty the least moved rival's."""
    one, twenty = moved[OURS]
    return {
        "one": one,
        "twenty": twenty,
        "rival": min(pair[1] for name, pair in moved.items() if name != OURS),
    }


def plain_table(measured: Kept) -> Table:
    """A bench's rows as they are: a column for each of their keys."""
    rows = measured.content["rows"]
    names = list(dict.fromkeys(name for row in rows for name in row))
    cells = tuple(tuple(_cell(row.get(name)) for name in names) for row in rows)
    return Table(tuple(name.replace("_", " ") for name in names), cells)


def _cell(value: object) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if isinstance(value, int) or (abs(value) >= 1000 and value == int(value)):
        return f"{int(value):,}"
    return (f"{value:.3f}" if 0.001 <= abs(value) < 10 or value == 0 else f"{value:.3g}").replace("-", "−")


def scores_table(measured: Kept) -> Table:
    """Per world and number of reports: Brier score of ours, the truth's own and the best rival's; coverage; causes."""
    head = (
        "simulated world", "reports", "ours", "truth itself", "best rival", "which", "90 % interval covers",
        "causes named rightly", "wrongly",
    )  # fmt: skip
    return Table(head, tuple(_score_cells(row) for row in measured.content["rows"]))


def _score_cells(row: Mapping) -> tuple[str, ...]:
    brier = {method: score[0] for method, score in row["scores"].items()}
    rivals = {method: score for method, score in brier.items() if method not in (OURS, TRUTH)}
    best = min(rivals, key=rivals.get)
    named = [row["wrong"], row["false_alarms"]]
    wrongly = None if all(share is None for share in named) else sum(share or 0.0 for share in named)
    return (
        WORLD_NAMES.get(row["world"], row["world"]),
        str(row["count"]),
        f"{brier[OURS]:.3f}",
        f"{brier[TRUTH]:.3f}",
        f"{rivals[best]:.3f}",
        best,
        _percent(row["coverage"]),
        _percent(row["hits"]),
        _percent(wrongly),
    )


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.0f} %"


def calibration_plot(measured: Kept) -> BenchPlot:
    """Share of frames that came out clean against the chance that was said, all worlds and counts together."""
    tenths: dict[int, list[float]] = defaultdict(lambda: [0.0, 0.0, 0.0])
    for row in measured.content["rows"]:
        for said, happened, count in row["said"]:
            sums = tenths[min(int(said * 10), 9)]
            sums[0] += said * count
            sums[1] += happened * count
            sums[2] += count
    x, y = _share_axes(SQUARE, 0.0)
    points = []
    for said, happened, count in (tenths[key] for key in sorted(tenths)):
        ends = wilson_interval(round(happened), round(count))
        label = f"said {_percent(said / count)}, came out clean {_percent(happened / count)}"
        points.append(Point(x(said / count), y(happened / count), y(ends[0]), y(ends[1]), label))
    wanted = f"M{x(0)} {y(0)}L{x(1)} {y(1)}"
    ticks = [Tick(x(share), _percent(share)) for share in (0, 0.25, 0.5, 0.75, 1)]
    return BenchPlot(
        SQUARE, tuple(ticks), _share_ticks(y, (0, 0.25, 0.5, 0.75, 1)), wanted, (Curve("", 0, tuple(points)),)
    )


def coverage_plot(measured: Kept) -> BenchPlot:
    """Share of true limits within their 90 % interval against the number of reports, a curve for each world."""
    rows: dict[str, list[Mapping]] = defaultdict(list)
    for row in measured.content["rows"]:
        rows[row["world"]].append(row)
    counts = sorted({row["count"] for row in measured.content["rows"]})
    _, y = _share_axes(WIDE, COVERAGE_FROM)
    place = Axis(-0.5, len(counts) - 0.5, WIDE.left, WIDE.right)
    curves = []
    for number, (world, found) in enumerate(rows.items()):
        beside = 0.12 * (
            number - (len(rows) - 1) / 2
        )  # so that whiskers of one count stand beside each other
        points = [
            _covered(row, measured.content["lenses"], place(counts.index(row["count"]) + beside), y)
            for row in found
        ]
        curves.append(Curve(WORLD_NAMES.get(world, world), number, tuple(points)))
    ticks = tuple(Tick(place(index), str(count)) for index, count in enumerate(counts))
    wanted = f"M{WIDE.left} {y(0.9)}H{WIDE.right}"
    return BenchPlot(WIDE, ticks, _share_ticks(y, (0.7, 0.8, 0.9, 1)), wanted, tuple(curves))


def _covered(row: Mapping, lenses: int, x: float, y: Axis) -> Point:
    low, high = wilson_interval(round(row["coverage"] * lenses), lenses)
    label = f"{row['count']} reports: {_percent(row['coverage'])}"
    return Point(x, y(row["coverage"]), y(max(low, COVERAGE_FROM)), y(high), label)


def _share_axes(frame: Frame, low: float) -> tuple[Axis, Axis]:
    return Axis(low, 1.0, frame.left, frame.right), Axis(low, 1.0, frame.bottom, frame.top)


def _share_ticks(axis: Axis, shares: Sequence[float]) -> tuple[Tick, ...]:
    return tuple(Tick(axis(share), _percent(share)) for share in shares)
