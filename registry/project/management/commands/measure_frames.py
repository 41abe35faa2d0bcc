"""Command: measure a folder of frames on this machine and write the numbers as JSON."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from registry.errors import CleanstopError
from registry.folder.measure import FrameResult, measured_frames
from registry.folder.overlay import write_overlay


class Command(BaseCommand):
    help = (
        "Measure the hotspot in every frame of FOLDER. Its subfolders are separate set-ups; within one, the frames of "
        "one focal length form a sweep. Positions and radii are in half-diagonals; ev_lo to ev_hi holds 95 %."
    )
    requires_system_checks = ()

    def add_arguments(self, parser):
        parser.add_argument("folder", type=Path, help="folder with JPEG, PNG, TIFF, HEIC or raw frames")
        parser.add_argument(
            "--out", type=Path, required=True, metavar="FILE", help="where to write the results (JSON)"
        )
        parser.add_argument("--no-sweeps", action="store_true", help="measure every frame alone")
        parser.add_argument(
            "--overlays",
            type=Path,
            metavar="DIR",
            help="also draw each frame with its patch and profile as SVG",
        )

    def handle(self, *args, folder: Path, out: Path, no_sweeps: bool, overlays: Path | None, **options):
        if not out.resolve().parent.is_dir():
            raise CommandError(f"There is no folder {out.parent} to write {out.name} into. Make it first.")
        try:
            results = self._measure(folder, sweeps=not no_sweeps)
        except CleanstopError as error:
            raise CommandError(str(error)) from error
        frames = {result.frame.file.key: result.to_dict() for result in results}
        out.write_text(json.dumps({"frames": frames}, indent=1, allow_nan=False) + "\n")
        if overlays is not None:
            _draw(results, overlays)
        counts = Counter(entry["status"] for entry in frames.values())
        told = ", ".join(f"{count} {status}" for status, count in sorted(counts.items()))
        self.stdout.write(f"{len(frames)} frames: {told}. Written to {out}.")

    def _measure(self, folder: Path, *, sweeps: bool) -> list[FrameResult]:
        with tqdm(unit="frame", disable=None) as bar:

            def show(done: int, total: int, name: str) -> None:
                bar.total = total
                bar.set_postfix_str(name, refresh=False)
                bar.update(done - bar.n)

            return list(measured_frames(folder, sweeps=sweeps, progress=show))


def _draw(results: list[FrameResult], folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for result in results:
        if result.measurement is not None:
            write_overlay(result, folder / f"{result.frame.file.key.replace('/', '_')}.svg")
