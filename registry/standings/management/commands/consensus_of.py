"""An exchange form for outside checks of the consensus; the rules are registry.consensus.exchange's."""

import json
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from registry.consensus.exchange import consensus_of
from registry.errors import CleanstopError


class Command(BaseCommand):
    help = "Answer the cases of a JSON file from their reports alone; nothing is read from or written to the database."
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("cases", help="JSON file with the cases")
        parser.add_argument("--out", required=True, help="JSON file to write the results to")
        parser.add_argument(
            "--visible-ev", type=float, default=0.10, help="excess that counts as visible (EV)"
        )

    def handle(self, *args, cases, out, visible_ev, **options):
        document = self._read(Path(cases))
        try:
            results = consensus_of(document, visible_ev)
        except CleanstopError as error:
            lines = [f"{problem.field or cases}: {problem}" for problem in error.problems]
            raise CommandError("\n".join(lines)) from error
        try:
            Path(out).write_text(json.dumps(results, indent=1, allow_nan=False))
        except OSError as error:
            raise CommandError(f"{out} can't be written: {error.strerror}. Name a writable place.") from error
        self.stdout.write(f"{len(results['cases'])} cases answered in {out}")

    def _read(self, path: Path) -> dict:
        try:
            return json.loads(path.read_text(encoding="utf-8"))
        except OSError as error:
            raise CommandError(
                f"{path} can't be read: {error.strerror}. Name an existing JSON file."
            ) from error
        except UnicodeDecodeError as error:
            raise CommandError(f"{path} is no UTF-8 text ({error.reason}). Save it as UTF-8 JSON.") from error
        except RecursionError as error:
            raise CommandError(f"{path} nests too deeply to be a file of cases.") from error
        except json.JSONDecodeError as error:
            raise CommandError(
                f"{path} is no JSON: {error.msg} at line {error.lineno}, column {error.colno}. Mend that place."
            ) from error
