from django.db import migrations

from registry.ledger.triggers import close_table, open_table

REPLIES, REVISIONS = "reports_reply", "reports_reportrevision"


def close(apps, editor):
    close_table(editor.connection, REPLIES, "a reply stays as it was said")
    close_table(
        editor.connection,
        REVISIONS,
        "a revision is kept as it was",
        names_in={"content": ("tester_name", "citation_author")},
    )


def open_again(apps, editor):
    for table in (REPLIES, REVISIONS):
        open_table(editor.connection, table)


class Migration(migrations.Migration):
    dependencies = [("reports", "0008_withheld_pictures"), ("ledger", "0002_append_only")]

    operations = [migrations.RunPython(close, open_again)]
