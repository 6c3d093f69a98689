"""Whether another record bore the animal's transponder first."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("standings", "0003_hosts_of_a_record")]

    operations = [
        migrations.AddField(
            model_name="standing",
            name="known_elsewhere",
            field=models.BooleanField(db_default=False, default=False),
        ),
    ]
