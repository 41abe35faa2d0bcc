from django.core.management.base import BaseCommand, CommandError

from registry.errors import CleanstopError
from registry.publishing.services import make_release


class Command(BaseCommand):
    help = (
        "Freeze the open data as a release: tables, checksums, citation, changes; proven before it is kept."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "release", nargs="?", help="its version, such as 2026.1; the year's next unless given"
        )

    def handle(self, *, release, verbosity, **options):
        tell = self.stdout.write if verbosity > 0 else (lambda said: None)
        try:
            made = make_release(release, tell=tell)
        except CleanstopError as refusal:
            raise CommandError(str(refusal)) from refusal
        counts = made.counts
        self.stdout.write(
            f"Made release {made.version}: {counts['reports']} reports, {counts['readings']} readings, "
            f"{counts['standings']} standings, {len(made.files)} files."
        )
