"""So that a process of before the upgrade can still store rows."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0012_footing")]

    operations = [
        migrations.AlterField(
            model_name="keeper",
            name="time_zone",
            field=models.CharField(blank=True, db_default="", default="", max_length=64),
        ),
    ]
