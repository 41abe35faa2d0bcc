from django.core.management.base import BaseCommand, CommandError

from registry.ledger.models import Event
from registry.ledger.services import verify


class Command(BaseCommand):
    help = "Verify the chain of the event log. Prints its newest event, to note down outside this machine."

    def add_arguments(self, parser):
        parser.add_argument("--known", metavar="SEQUENCE:HASH", help="an event as an earlier run printed it")

    def handle(self, *, known: str | None, **options):
        problems = verify(known=_known_event(known) if known else None)
        for problem in problems:
            self.stderr.write(str(problem))
        if problems:
            raise CommandError(f"The event log has {len(problems)} faults.")
        newest = Event.objects.order_by("-sequence").first()
        if newest:
            self.stdout.write(f"The event log is whole. Newest event: {newest.sequence}:{newest.hash}")
        else:
            self.stdout.write("The event log is whole: it holds no event yet.")


def _known_event(text: str) -> tuple[int, str]:
    sequence, _, hash_ = text.partition(":")
    if not sequence.isdecimal() or len(hash_) != 64:
        raise CommandError(
            f"“{text}” is not a number, a colon and 64 hexadecimal digits. Give it as an earlier run printed it."
        )
    return int(sequence), hash_
