"""Command: measure every kept frame again under a new version of the method."""

from __future__ import annotations

import json
from dataclasses import asdict
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


class Command(BaseCommand):
    help = (
        "Measure all kept frames again that the present method version has not measured. It can be stopped and run "
        "again. Earlier results stay; lenses whose evidence changed get their standings refreshed by the task worker."
    )

    def add_arguments(self, parser):
        parser.add_argument("--lens", default="", metavar="SLUG", help="only reports on this lens")
        parser.add_argument("--out", type=Path, metavar="FILE", help="write what changed as JSON")
        parser.add_argument("--pretend", action="store_true", help="only count what would be measured again")

    def handle(self, *args, lens: str, out: Path | None, pretend: bool, **options):
        due = reports_to_remeasure(lens_slug=lens).count()
        self.stdout.write(
            f"Method {METHOD_VERSION}: {frames_to_remeasure().count()} frames to measure, in {due} reports."
        )
        if pretend:
            return
        if out is not None and not out.resolve().parent.is_dir():
            raise CommandError(f"There is no folder {out.parent} to write {out.name} into. Make it first.")
        measurers = Measurers(light_of, measure, measure_group)
        progress = tqdm(
            remeasure(measurers=measurers, lens_slug=lens), total=due, unit="report", disable=None
        )
        done = list(progress)
        self._tell(done)
        if out is not None:
            content = {"method_version": METHOD_VERSION, "reports": [asdict(one) for one in done]}
            out.write_text(json.dumps(content, indent=1) + "\n")

    def _tell(self, done: list[Remeasured]) -> None:
        changed = [one for one in done if one.changes]
        for one in changed:
            self.stdout.write(f"{one.lens}, report {one.report}:")
            for change in one.changes:
                before, after = (_ev(value) for value in (change.before_ev, change.after_ev))
                self.stdout.write(
                    f"  {change.focal_length_mm:g} mm f/{change.f_number:g}: {before} → {after}"
                )
        lenses = sorted({one.lens for one in changed if one.told})
        self.stdout.write(f"{len(done)} reports measured again, {len(changed)} changed.")
        if lenses:
            self.stdout.write(f"Standings to be refreshed: {', '.join(lenses)}.")


def _ev(value: float | None) -> str:
    return "no EV" if value is None else f"{value:+.3f} EV"
