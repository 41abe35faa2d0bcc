"""Command: deal with frames that nobody finished, so that no original outlives its purpose."""

from __future__ import annotations

from datetime import timedelta

from django.core.management.base import BaseCommand

from registry.reports.services.upkeep import STALE_AFTER, sweep_stale_originals


class Command(BaseCommand):
    help = "Delete originals that are older than an hour and that no task is working on; run it every hour."

    def add_arguments(self, parser):
        hours = STALE_AFTER.total_seconds() / 3600
        parser.add_argument("--hours", type=float, default=hours, help=f"age in hours (default {hours:g})")

    def handle(self, *args, hours: float, **options):
        count = sweep_stale_originals(older_than=timedelta(hours=hours))
        self.stdout.write(f"{count} unfinished frame{'s' if count != 1 else ''} dealt with.")
