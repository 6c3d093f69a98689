import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0008_young_of_a_witness")]

    operations = [
        migrations.AddField(
            model_name="call",
            name="refiles",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="refiled",
                to="calls.call",
            ),
        ),
        migrations.CreateModel(
            name="PhotoComparison",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("by", models.UUIDField()),
                ("photo", models.UUIDField()),
                ("earlier", models.UUIDField()),
                ("answer", models.CharField(max_length=7)),
                ("stands", models.CharField(max_length=7)),
                ("at", models.DateTimeField()),
                (
                    "call",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="comparisons",
                        to="calls.call",
                    ),
                ),
            ],
            options={"abstract": False},
        ),
    ]
