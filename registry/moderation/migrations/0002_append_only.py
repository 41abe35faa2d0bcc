from django.db import migrations

from registry.ledger.triggers import close_table, open_table

TABLES = ("moderation_decision", "moderation_decisionreport")


def close(apps, editor):
    for table in TABLES:
        close_table(editor.connection, table, "a decision never changes; take it back with another")


def open_again(apps, editor):
    for table in TABLES:
        open_table(editor.connection, table)


class Migration(migrations.Migration):
    dependencies = [("moderation", "0001_initial"), ("ledger", "0002_append_only")]

    operations = [migrations.RunPython(close, open_again)]
