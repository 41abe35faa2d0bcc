"""Loads the Saltmarsh Infrared Circle's demo world into an empty database."""

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from fixtures_demo import loading
from registry.errors import CleanstopError
from registry.standings.models import Standing


class Command(BaseCommand):
    help = (
        "Load the demo world: gear, people, reports with rendered frames. Goes on where it was interrupted."
    )

    def add_arguments(self, parser):
        parser.add_argument("--greeting", action="store_true", help="only print what to try and who to be")

    def handle(self, *args, **options):
        if options["greeting"]:
            self.greet()
            return
        if loading.is_complete():
            self.stdout.write("· the demo world is here already")
            return
        try:
            loading.begin()
            planned = loading.plans()
            self.stdout.write(f"· building the demo world: {len(planned)} reports (one to two minutes)")
            with loading.second_worker():
                for _ in tqdm(
                    loading.tell(planned), total=len(planned), unit="report", mininterval=1.0, leave=False
                ):
                    pass
            self.stdout.write("· working out every standing")
            loading.complete()
        except CleanstopError as error:
            raise CommandError(str(error)) from error

    def greet(self):
        shown = Standing.objects.filter(verdict="clean-to").order_by("-n_independent").first()
        lens = shown.lens if shown else None
        if lens:
            self.stdout.write(
                f"Try this: look up “{lens.focal_min_mm:g} {lens.widest_f:g}” and open the {lens}."
            )
        self.stdout.write("Demo accounts (password for each: " + loading.PASSWORD + "):")
        for role, name in loading.SHOWN_ACCOUNTS.items():
            self.stdout.write(f"  {role:12} {loading.email_of(name)}")
