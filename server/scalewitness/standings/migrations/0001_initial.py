"""The tables that ``calls`` made, taken over as they are."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [("animals", "0003_photo_photofile"), ("calls", "0006_standings_leave")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name="AdoptedPolicy",
                    fields=[
                        ("id", models.UUIDField(primary_key=True, serialize=False)),
                        ("position", models.BigIntegerField(unique=True)),
                        ("version", models.CharField(max_length=60, unique=True)),
                        ("parameters", models.CharField(max_length=60)),
                        ("thresholds", models.JSONField()),
                    ],
                    options={"db_table": "calls_adoptedpolicy"},
                ),
                migrations.CreateModel(
                    name="ExaminerRecord",
                    fields=[
                        ("id", models.UUIDField(primary_key=True, serialize=False)),
                        ("position", models.BigIntegerField(unique=True)),
                        ("examiner", models.UUIDField(db_index=True)),
                        ("role", models.CharField(max_length=15)),
                        ("counts", models.JSONField()),
                    ],
                    options={"db_table": "calls_examinerrecord"},
                ),
                migrations.CreateModel(
                    name="Standing",
                    fields=[
                        ("id", models.UUIDField(primary_key=True, serialize=False)),
                        ("position", models.BigIntegerField(unique=True)),
                        ("label", models.CharField(max_length=16)),
                        ("p_male", models.CharField(max_length=8)),
                        ("p_male_pessimistic", models.CharField(max_length=8)),
                        ("parameters", models.CharField(max_length=60)),
                        ("policy", models.CharField(max_length=60)),
                        ("examiner_records", models.CharField(max_length=60)),
                        (
                            "animal",
                            models.ForeignKey(
                                db_index=False,
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="standings",
                                to="animals.animal",
                            ),
                        ),
                    ],
                    options={
                        "db_table": "calls_standing",
                        "indexes": [
                            models.Index(fields=["animal", "-position"], name="standing_latest")
                        ],
                    },
                ),
                migrations.CreateModel(
                    name="StatedLinkage",
                    fields=[
                        ("id", models.UUIDField(primary_key=True, serialize=False)),
                        ("position", models.BigIntegerField(unique=True)),
                        ("by", models.UUIDField()),
                        ("at", models.DateTimeField()),
                        ("body", models.JSONField()),
                        (
                            "animal",
                            models.ForeignKey(
                                on_delete=django.db.models.deletion.PROTECT,
                                related_name="linkages",
                                to="animals.animal",
                            ),
                        ),
                    ],
                    options={
                        "db_table": "calls_statedlinkage",
                        "indexes": [
                            models.Index(fields=["animal", "-position"], name="linkage_latest")
                        ],
                    },
                ),
            ]
        )
    ]
