"""So that a process of before the upgrade can still store rows."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0011_held_notes")]

    operations = [
        migrations.AlterField(
            model_name="heldcall",
            name="kind",
            field=models.CharField(db_default="call_made", default="call_made", max_length=20),
        ),
    ]
