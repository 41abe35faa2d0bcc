"""Migrations that rebuild tables, on populated ones: rows stay, and what was closed against change stays closed."""

from datetime import UTC, datetime

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

from registry.moderation.models import Decision
from registry.reports.models import FrameGrain, Report, SampleImage

BEFORE = [
    ("reports", "0009_append_only"),
    ("moderation", "0004_day_figures"),
    ("accounts", "0004_block_until"),
]
CLOSED = {
    "reports_reply": "says = 'something else'",
    "reports_reportrevision": "reason = 'another'",
    "moderation_decision": "reason = 'another'",
    "moderation_decisionreport": "report_id = NULL",
}
STATES = ("draft", "submitted", "set-aside", "withdrawn")


def migrate(targets):
    executor = MigrationExecutor(connection)
    executor.migrate(targets)
    return MigrationExecutor(connection).loader.project_state(targets).apps


@pytest.fixture
def before():
    """The database as it was before; afterwards it is brought up to date again."""
    heads = MigrationExecutor(connection).loader.graph.leaf_nodes()
    yield migrate(BEFORE)
    migrate(heads)


def populate(apps):
    """A report in every state, with a picture, a reply, a revision and a decision."""
    account = apps.get_model("accounts", "Account").objects.create(
        email="dunlin@saltmarsh.example", name="Dunlin"
    )
    maker = apps.get_model("gear", "Maker").objects.create(name="Osterby", slug="osterby")
    lens = apps.get_model("gear", "Lens").objects.create(
        maker=maker, name="Marram 35 mm f/1.4", slug="osterby-marram-35", focal_min_mm=35, focal_max_mm=35,
        widest_f=1.4, widest_f_tele=1.4,
    )  # fmt: skip
    model = apps.get_model("reports", "Report")
    at = datetime(2024, 6, 21, tzinfo=UTC)
    reports = [
        model.objects.create(
            public_id=f"report{place}", author=account, lens=lens, basis="graded", state=state, notes=f"note {place}",
            submitted_at=None if state == "draft" else at,
        )
        for place, state in enumerate(STATES)
    ]  # fmt: skip
    image = apps.get_model("reports", "SampleImage").objects.create(
        public_id="image00001",
        owner=account,
        report=reports[1],
        content_hash="a" * 64,
        byte_size=9,
        width=6,
        height=4,
    )
    apps.get_model("reports", "Reply").objects.create(report=reports[1], by=account, says="It was a wall.")
    apps.get_model("reports", "ReportRevision").objects.create(
        report=reports[1], number=1, content={"notes": "before"}, reason="A slip.", by=account
    )
    decision = apps.get_model("moderation", "Decision").objects.create(
        public_id="decision01", act="ask", by=account, role="moderator", lens_slug=lens.slug, reason="A wall?"
    )
    apps.get_model("moderation", "DecisionReport").objects.create(decision=decision, report=reports[1])
    return image


def refused(sql):
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_reports_that_wait_grain_and_voices_come_to_a_populated_database(before):
    populate(before)
    migrate(MigrationExecutor(connection).loader.graph.leaf_nodes())
    kept = Report.objects.order_by("pk").values_list("public_id", "state", "notes")
    assert list(kept) == [(f"report{place}", state, f"note {place}") for place, state in enumerate(STATES)]
    submitted = Report.objects.get(state="submitted")
    assert (submitted.replies.get().says, submitted.revisions.get().content) == (
        "It was a wall.",
        {"notes": "before"},
    )
    assert [row.act for row in submitted.decisions.all()] == ["ask"]

    Report.objects.filter(pk=submitted.pk).update(state="waiting")
    with pytest.raises(IntegrityError), transaction.atomic():
        Report.objects.filter(pk=submitted.pk).update(state="lost")
    image = SampleImage.objects.get()
    grain = FrameGrain.objects.create(image=image, residual=b"\x01\xff")
    grain.refresh_from_db()
    assert bytes(grain.residual) == b"\x01\xff"
    Decision.objects.create(act="same-voice", by=submitted.author, role="moderator", reason="One hand.")
    with pytest.raises(IntegrityError), transaction.atomic():
        Decision.objects.create(act="guess", by=submitted.author, role="moderator", reason="No act.")
    for table, change in CLOSED.items():
        assert _count(table)
        refused(f"UPDATE {table} SET {change}")
        refused(f"DELETE FROM {table}")


def _count(table):
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        return cursor.fetchone()[0]
