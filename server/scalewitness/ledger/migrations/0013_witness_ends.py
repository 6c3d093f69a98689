import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0012_key_change")]

    operations = [
        migrations.CreateModel(
            name="WitnessEnd",
            fields=[
                ("witness", models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name="end", serialize=False, to="ledger.witness", to_field="key")),
                ("position", models.BigIntegerField(unique=True)),
                ("size", models.BigIntegerField()),
            ],
            options={"abstract": False},
        ),
    ]
