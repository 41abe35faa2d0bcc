from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from registry.errors import CleanstopError
from registry.gear.imports import ImportOutcome, import_gear
from registry.gear.rules import FACTS


class Command(BaseCommand):
    help = "Import gear from a CSV or JSON file. Reports every bad line, and takes none of the file if there is one."

    def add_arguments(self, parser):
        parser.add_argument("kind", help=", ".join(FACTS))
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--skip-bad", action="store_true", help="take the good rows and leave the bad ones out"
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="change nothing, only tell what would happen"
        )
        parser.add_argument(
            "--create-makers", action="store_true", help="add makers the registry does not know"
        )

    def handle(self, *, kind, file, skip_bad, dry_run, create_makers, **options):
        try:
            outcome = import_gear(kind, file, skip_bad=skip_bad, dry_run=dry_run, create_makers=create_makers)
        except CleanstopError as refusal:
            raise CommandError(str(refusal)) from refusal
        for line, problem in outcome.problems:
            self.stderr.write(f"{file.name}:{line}: {problem.field + ': ' if problem.field else ''}{problem}")
        self.stdout.write(_summary(kind, outcome, dry_run))
        if outcome.problems and not skip_bad:
            bad = len({line for line, _ in outcome.problems})
            raise CommandError(
                f"Rows with problems: {bad}. Nothing was imported: mend them, or use --skip-bad."
            )


def _summary(kind: str, outcome: ImportOutcome, dry_run: bool) -> str:
    counts = f"{outcome.created} new, {outcome.updated} changed, {outcome.unchanged} unchanged"
    if outcome.imported:
        return f"Imported {kind}: {counts}."
    return f"{'Would import' if dry_run else 'Without the bad rows it would have been'} {kind}: {counts}."
