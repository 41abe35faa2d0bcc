from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from registry.errors import CleanstopError
from registry.publishing.queries import folder_of
from registry.publishing.verifying import verify_release


class Command(BaseCommand):
    help = "Check a release's files against their checksums, and compute its standings anew from its own evidence."

    def add_arguments(self, parser):
        parser.add_argument(
            "release", help="the version of a release made here, or the folder of one downloaded"
        )

    def handle(self, *, release, **options):
        folder = Path(release)
        try:
            outcome = verify_release(folder if folder.is_dir() else folder_of(release))
        except CleanstopError as refusal:
            raise CommandError(str(refusal)) from refusal
        for difference in outcome.differences:
            self.stderr.write(difference)
        if not outcome.holds:
            raise CommandError("The release does not hold: see above for what differs.")
        self.stdout.write(
            f"The release holds: {outcome.files} files as published, {outcome.standings} standings computed anew "
            "with the same digits."
        )
