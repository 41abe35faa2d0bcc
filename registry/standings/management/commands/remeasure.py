"""Command: measure every kept frame again under a new version of the method, and tell what that changed."""

from __future__ import annotations

import json
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from registry.photometry.measurement import METHOD_VERSION
from registry.reports.services.remeasuring import (
    Measurers,
    Remeasured,
    frames_to_remeasure,
    remeasure,
    reports_to_remeasure,
)
from registry.reports.tasks import light_of, measure, measure_group
from registry.standings.queries.remeasured import RemeasuredSoFar, remeasured_so_far


class Command(BaseCommand):
    help = (
        "Measure all kept frames again that the present method version has not measured. It can be stopped, or "
        "killed, and run again. Earlier results stay; lenses whose evidence changed get their standings refreshed by "
        "the task worker. Once that is done, --report tells which standings moved."
    )

    def add_arguments(self, parser):
        parser.add_argument("--lens", default="", metavar="SLUG", help="only reports on this lens")
        parser.add_argument("--out", type=Path, metavar="FILE", help="write as JSON what --report tells")
        instead = parser.add_mutually_exclusive_group()
        instead.add_argument("--pretend", action="store_true", help="only count what would be measured again")
        instead.add_argument(
            "--report",
            action="store_true",
            help="measure nothing: tell what this method version changed so far, whichever run it was, and which "
            "standings moved by it",
        )

    def handle(self, *args, lens: str, out: Path | None, pretend: bool, report: bool, **options):
        if out is not None and not out.resolve().parent.is_dir():
            raise CommandError(f"There is no folder {out.parent} to write {out.name} into. Make it first.")
        due = reports_to_remeasure(lens_slug=lens).count()
        self.stdout.write(
            f"Method {METHOD_VERSION}: {frames_to_remeasure().count()} frames to measure, in {due} reports."
        )
        if pretend:
            return
        if not report:
            self._measure(lens, due)
        so_far = remeasured_so_far(METHOD_VERSION)
        if report:
            self._tell(so_far)
        if out is not None:
            out.write_text(json.dumps(so_far.to_dict(), indent=1) + "\n")

    def _measure(self, lens: str, due: int) -> None:
        done: list[Remeasured] = []
        measurers = Measurers(light_of, measure, measure_group)
        for one in tqdm(
            remeasure(measurers=measurers, lens_slug=lens), total=due, unit="report", disable=None
        ):
            done.append(one)
            if one.changes:
                self._tell_readings(one.lens, one.report, [change.to_dict() for change in one.changes])
        changed = sum(bool(one.changes) for one in done)
        self.stdout.write(f"{len(done)} reports measured again, {changed} changed.")
        if lenses := sorted({one.lens for one in done if one.told}):
            self.stdout.write(f"Standings to be refreshed: {', '.join(lenses)}.")

    def _tell(self, so_far: RemeasuredSoFar) -> None:
        for event in so_far.reports:
            self._tell_readings(event.data["lens"], event.subject_id, event.data["readings"])
        for change in so_far.moved:
            where = f"{change.lens.slug}, {change.group_label}, {change.focal_zone}"
            self.stdout.write(f"{where}: {change.before or 'nothing'} → {change.after}")
        self.stdout.write(f"{len(so_far.reports)} reports changed, {len(so_far.moved)} standings moved.")

    def _tell_readings(self, lens: str, report: str, readings: list[dict]) -> None:
        """Those whose change can be seen in thousandths of an EV, line by line."""
        self.stdout.write(f"{lens}, report {report}: {len(readings)} readings changed")
        for reading in readings:
            before, after = (_ev(reading[name]) for name in ("before_ev", "after_ev"))
            if before != after:
                stop = f"{reading['focal_length_mm']:g} mm f/{reading['f_number']:g}"
                self.stdout.write(f"  {stop}: {before} → {after}")
        self.stdout.flush()


def _ev(value: float | None) -> str:
    return "no EV" if value is None else f"{value:+.3f} EV"
