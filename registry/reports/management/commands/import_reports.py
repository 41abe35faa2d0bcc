from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from registry.accounts.queries import account_by_email
from registry.errors import CleanstopError
from registry.reports.services.report_table import import_table
from registry.reports.services.table_plan import TablePlan, plan_table


class Command(BaseCommand):
    help = (
        "File reports from a CSV table (its template is on the page “Many reports from a table”). Every problem is "
        "told by row and column, and none of the table is taken if there is one; the same table again adds nothing."
    )

    def add_arguments(self, parser):
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--as",
            dest="email",
            required=True,
            metavar="EMAIL",
            help="email address of the account that files them",
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="write nothing, only tell what would happen"
        )
        parser.add_argument(
            "--drafts", action="store_true", help="keep them as drafts, which do not count yet"
        )

    def handle(self, *, file: Path, email: str, dry_run: bool, drafts: bool, **options):
        try:
            author = account_by_email(email)
            content = _content_of(file)
            plan = plan_table(author=author, content=content)
            self._tell(file, plan)
            if plan.problems:
                rows = len({found.row for found in plan.problems})
                raise CommandError(
                    f"Rows with problems: {rows}. Nothing was written: mend them and go again."
                )
            if not dry_run:
                import_table(author=author, content=content, submit=not drafts)
        except CleanstopError as refusal:
            raise CommandError(str(refusal)) from refusal
        does = "Would file" if dry_run else "Kept as drafts" if drafts else "Submitted"
        self.stdout.write(f"{does}: {len(plan.new)} reports. Here before: {len(plan.here)}.")

    def _tell(self, file: Path, plan: TablePlan) -> None:
        for note in plan.table.notes:
            self.stderr.write(note)
        for found in plan.problems:
            place = f"{file.name}:{found.row}: {found.heading + ': ' if found.heading else ''}"
            self.stderr.write(f"{place}{found.problem}")


def _content_of(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as failure:
        raise CommandError(
            f"“{file}” can't be read: {failure.strerror}. Give the path of a CSV file."
        ) from failure
