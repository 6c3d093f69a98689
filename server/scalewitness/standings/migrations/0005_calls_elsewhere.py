"""How many calls of other records of the same snake a standing counts."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("standings", "0004_known_elsewhere")]

    operations = [
        migrations.AddField(
            model_name="standing",
            name="calls_elsewhere",
            field=models.PositiveIntegerField(db_default=0, default=0),
        ),
    ]
