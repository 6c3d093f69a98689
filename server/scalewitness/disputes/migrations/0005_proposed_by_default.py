"""So that a process of before the upgrade can still store rows."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("disputes", "0004_finding_answer")]

    operations = [
        migrations.AlterField(
            model_name="finding",
            name="proposed",
            field=models.JSONField(
                db_default=models.Value([], models.JSONField()), default=list
            ),
        ),
    ]
