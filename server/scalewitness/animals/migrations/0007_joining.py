"""Two records joined as one snake's."""

import django.db.models.deletion
from django.db import migrations, models

PROTECT = django.db.models.deletion.PROTECT


def _to(table: str, name: str, **more: object) -> models.ForeignKey:  # type: ignore[type-arg]
    return models.ForeignKey(on_delete=PROTECT, related_name=name, to=table, **more)


class Migration(migrations.Migration):
    dependencies = [("animals", "0006_identifierwithdrawal")]

    operations = [
        migrations.CreateModel(
            name="Joining",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("code", models.CharField(max_length=60)),
                ("by", models.UUIDField()),
                ("at", models.DateTimeField()),
                ("animal", _to("animals.animal", "joinings")),
                ("other", _to("animals.animal", "joinings_asked")),
                ("parts", _to("animals.joining", "partings", null=True)),
            ],
            options={"abstract": False},
        ),
        migrations.CreateModel(
            name="JoiningAnswer",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("agrees", models.BooleanField()),
                ("finding", models.UUIDField(null=True)),
                ("by", models.UUIDField()),
                ("at", models.DateTimeField()),
                ("animal", _to("animals.animal", "joinings_answered")),
                ("proposal", _to("animals.joining", "answers")),
            ],
            options={"abstract": False},
        ),
    ]
