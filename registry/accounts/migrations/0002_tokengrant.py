import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    # Apart from 0001: the token library's own first migration needs the account model.

    dependencies = [
        ('accounts', '0001_initial'),
        # The library's last: an earlier one changes the key that this row points to.
        ('knox', '0009_extend_authtoken_field'),
    ]

    operations = [
        migrations.CreateModel(
            name='TokenGrant',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=60)),
                ('scopes', models.JSONField(default=list)),
                ('last_used_at', models.DateTimeField(blank=True, null=True)),
                ('token', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='grant', to=settings.KNOX_TOKEN_MODEL)),
            ],
        ),
    ]
