import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0016_joined")]

    operations = [
        migrations.CreateModel(
            name="Seal",
            fields=[
                (
                    "held",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="seal",
                        serialize=False,
                        to="calls.heldcall",
                    ),
                ),
                ("position", models.BigIntegerField(unique=True)),
                ("salt", models.BinaryField(max_length=32)),
            ],
            options={"abstract": False},
        ),
    ]
