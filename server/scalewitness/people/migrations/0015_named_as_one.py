import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0014_shared_key")]

    operations = [
        migrations.CreateModel(
            name="NamedAsOne",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("animal", models.UUIDField(db_index=True)),
                ("finding", models.UUIDField()),
                ("accounts", models.CharField(max_length=64)),
                ("at", models.DateTimeField()),
                ("objected_at", models.DateTimeField(null=True)),
                ("heard_at", models.DateTimeField(null=True)),
                ("counts_from", models.DateTimeField(null=True)),
                ("lifted_at", models.DateTimeField(null=True)),
                (
                    "first",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "second",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("animal", "first", "second"), name="named_once_for_an_animal"
                    )
                ],
            },
        ),
    ]
