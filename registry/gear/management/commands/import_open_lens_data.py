from django.core.management.base import BaseCommand, CommandError

from registry.errors import CleanstopError
from registry.gear.open_lens_data import LICENCE, read_open_lens_data
from registry.gear.open_lens_import import OpenLensOutcome, import_open_lens_data


class Command(BaseCommand):
    help = (
        "Read mounts, camera models and lenses from an open lens-correction data set (XML, format version 1; "
        f"{LICENCE}) on this machine. Nothing that the catalogue states is overwritten; running it again "
        "changes nothing."
    )

    def add_arguments(self, parser):
        parser.add_argument("path", help="the folder that holds the set's .xml files, or one of them")
        parser.add_argument("--dry-run", action="store_true", help="change nothing, only tell")
        parser.add_argument("--quiet-doubts", action="store_true", help="count the doubtful, don't list them")

    def handle(self, *, path, dry_run, quiet_doubts, **options):
        try:
            outcome = import_open_lens_data(read_open_lens_data(path), dry_run=dry_run)
        except CleanstopError as refusal:
            raise CommandError(str(refusal)) from refusal
        for doubt in [] if quiet_doubts else outcome.doubts:
            self.stderr.write(f"{doubt.file}: {doubt.entry}: {doubt.why}")
        self.stdout.write(_summary(outcome, dry_run))


def _summary(outcome: OpenLensOutcome, dry_run: bool) -> str:
    counts = "; ".join(
        f"{kind}: {outcome.new[kind]} new, {outcome.matched[kind]} matched"
        for kind in ("mounts", "bodies", "lenses")
    )
    return f"{'Would take' if dry_run else 'Took'} {counts}; {len(outcome.doubts)} doubtful."
