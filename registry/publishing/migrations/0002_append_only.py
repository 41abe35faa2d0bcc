from django.db import migrations

from registry.ledger.triggers import close_table, open_table

TABLES = ("publishing_release", "publishing_releasedstanding")


def close(apps, editor):
    for table in TABLES:
        close_table(editor.connection, table, "a release never changes")


def open_again(apps, editor):
    for table in TABLES:
        open_table(editor.connection, table)


class Migration(migrations.Migration):
    dependencies = [("publishing", "0001_initial"), ("ledger", "0002_append_only")]

    operations = [migrations.RunPython(close, open_again)]
