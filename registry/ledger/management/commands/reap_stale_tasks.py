from datetime import timedelta

from django.core.management.base import BaseCommand

from registry.ledger.retries import LEASE, reap_stale_tasks


class Command(BaseCommand):
    help = (
        "Put tasks whose worker died back into the queue. The worker does so itself; this is for a steward."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--lease-minutes",
            type=float,
            default=LEASE.total_seconds() / 60,
            help="a task that has run longer counts as lost (default %(default)g)",
        )

    def handle(self, *, lease_minutes: float, **options):
        count = reap_stale_tasks(lease=timedelta(minutes=lease_minutes))
        self.stdout.write(f"{count} tasks are back in the queue.")
