import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0006_standings_leave")]

    operations = [
        migrations.CreateModel(
            name="Attestation",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("by", models.UUIDField()),
                ("kind", models.CharField(max_length=20)),
                ("answer", models.CharField(max_length=10, null=True)),
                ("report", models.CharField(max_length=12)),
                ("at", models.DateTimeField()),
                (
                    "call",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attestations",
                        to="calls.call",
                    ),
                ),
            ],
            options={"abstract": False},
        ),
    ]
