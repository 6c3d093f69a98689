import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    # Apart from 0001, since the tokens themselves point to keepers.
    dependencies = [
        ("people", "0001_initial"),
        migrations.swappable_dependency(settings.KNOX_TOKEN_MODEL),
    ]
    operations = [
        migrations.AddField(
            model_name="device",
            name="token",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                to=settings.KNOX_TOKEN_MODEL,
            ),
        )
    ]
