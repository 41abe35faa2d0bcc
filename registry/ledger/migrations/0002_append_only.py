from django.db import migrations

from registry.ledger.triggers import create_triggers, drop_triggers


class Migration(migrations.Migration):
    dependencies = [('ledger', '0001_initial')]

    operations = [
        migrations.RunPython(
            lambda apps, editor: create_triggers(editor.connection),
            lambda apps, editor: drop_triggers(editor.connection),
        )
    ]
