"""Numbers that the record learned: candidates, what was adopted, and what that looked through."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("standings", "0001_initial")]

    operations = [
        migrations.CreateModel(
            name="AdoptedNumbers",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("version", models.CharField(max_length=60, unique=True)),
                ("learned_until", models.BigIntegerField()),
                ("kept", models.CharField(max_length=8)),
                ("numbers", models.JSONField()),
            ],
            options={"abstract": False},
        ),
        migrations.CreateModel(
            name="NumbersCandidate",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("made_at", models.DateTimeField(db_index=True)),
                ("learned_until", models.BigIntegerField()),
                ("builds_on", models.CharField(max_length=60)),
                ("numbers", models.JSONField()),
            ],
        ),
        migrations.CreateModel(
            name="NumbersReview",
            fields=[
                (
                    "adoption",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        serialize=False,
                        to="standings.adoptednumbers",
                    ),
                ),
                ("reached", models.UUIDField(null=True)),
                ("finished", models.BooleanField(default=False)),
            ],
        ),
        migrations.AddField(
            model_name="standing",
            name="verified_with",
            field=models.CharField(db_default="", default="", max_length=60),
        ),
    ]
