"""Codes that were given to an animal by mistake."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("animals", "0005_once_parents_indexed")]

    operations = [
        migrations.CreateModel(
            name="IdentifierWithdrawal",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("scheme", models.CharField(max_length=12)),
                ("code", models.CharField(max_length=60)),
                ("by", models.UUIDField()),
                ("at", models.DateTimeField()),
                (
                    "animal",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="identifiers_withdrawn",
                        to="animals.animal",
                    ),
                ),
            ],
            options={"abstract": False},
        ),
    ]
