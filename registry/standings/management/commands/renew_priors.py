from django.core.management import call_command
from django.core.management.base import BaseCommand

from registry.standings.services import ensure_edition, renew_priors


class Command(BaseCommand):
    help = "Learn the priors again from the whole catalogue, and refresh every standing under them."

    def handle(self, *args, verbosity=1, **options):
        before = ensure_edition().number
        edition = renew_priors()
        if verbosity:
            news = "unchanged" if edition.number == before else f"follows edition {before}"
            self.stdout.write(f"priors edition {edition.number} in force ({news})")
        call_command("refresh_standings", verbosity=verbosity, stdout=self.stdout, stderr=self.stderr)
