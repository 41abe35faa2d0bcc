"""Files one new report with its frames over HTTP at a running registry, and shows what its lens's standing becomes."""

import datetime

import httpx
from django.core.management.base import BaseCommand, CommandError

from fixtures_demo import over_http
from registry.accounts.models import Account
from registry.accounts.services import issue_token, revoke_token
from registry.reports.models import Report


class Command(BaseCommand):
    help = "Do the main job over HTTP; fails if any step of it does."

    def add_arguments(self, parser):
        parser.add_argument(
            "--url", required=True, help="where the registry answers, such as http://127.0.0.1:8000"
        )

    def handle(self, *args, url, **options):
        tester = self.fresh_tester()
        grant, token = issue_token(
            account=tester,
            name="check of the main job",
            scopes=["read", "submit"],
            lives=datetime.timedelta(minutes=15),
        )
        self.stdout.write(f"· {tester} tests the {over_http.LENS} at {over_http.CUT_ON_NM:g} nm")
        try:
            for line in over_http.do_main_job(url.rstrip("/"), token, seed=grant.pk):
                self.stdout.write(f"  {line}")
        except (over_http.MainJobFailed, httpx.HTTPError) as failure:
            raise CommandError(f"The main job failed. {failure}") from failure
        finally:
            revoke_token(account=tester, grant_id=grant.pk)

    def fresh_tester(self) -> Account:
        """A contributor who has not tested this lens, so that one more report is one more independent voice."""
        testers = Report.objects.filter(lens__slug=over_http.LENS).values("author")
        tester = Account.objects.filter(role="contributor").exclude(pk__in=testers).order_by("pk").first()
        if tester is None:
            raise CommandError(
                "Every contributor has tested this lens already: start afresh without the old data."
            )
        return tester
