from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from registry.gear.models import Lens
from registry.gear.queries import nearest_lenses
from registry.standings.services import refresh_all, refresh_lens


class Command(BaseCommand):
    help = "Compute standings again from all submitted reports. Standings whose evidence is unchanged stay."

    def add_arguments(self, parser):
        parser.add_argument("--lens", metavar="SLUG", help="refresh this lens only")

    def handle(self, *args, lens=None, verbosity=1, **options):
        if lens:
            outcome = refresh_lens(self._lens(lens), cause="refresh by command")
        else:
            quiet = verbosity == 0
            outcome = refresh_all(
                lambda lenses: tqdm(lenses, desc="standings", unit="lens", disable=quiet, file=self.stderr)
            )
        if verbosity:
            self.stdout.write(f"{outcome.written} standings written, {len(outcome.changes)} verdicts changed")

    def _lens(self, slug: str) -> Lens:
        found = Lens.objects.filter(slug=slug).first()
        if found is None:
            near = ", ".join(lens.slug for lens in nearest_lenses(slug))
            raise CommandError(f"There is no lens “{slug}”. Nearest: {near or 'none'}.")
        return found
