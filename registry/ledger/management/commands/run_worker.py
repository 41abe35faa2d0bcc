from django.core.management.base import BaseCommand

from registry.ledger.retries import reap_stale_tasks
from registry.ledger.worker import RegistryWorker


class Command(BaseCommand):
    help = "Run the queued tasks: measuring frames, refreshing standings. Keep one beside the site."

    def add_arguments(self, parser):
        parser.add_argument("--batch", action="store_true", help="run what is due, then stop")
        parser.add_argument(
            "--interval",
            type=float,
            default=1.0,
            help="seconds between looks into an empty queue (default 1)",
        )

    def handle(self, *, batch: bool, interval: float, **options):
        reaped = reap_stale_tasks()
        if reaped:
            self.stdout.write(f"{reaped} tasks whose worker died are back in the queue.")
        worker = RegistryWorker(interval=max(interval, 0.05))
        worker.configure_signals()
        if batch:
            worker.run()
        else:
            worker.serve()
