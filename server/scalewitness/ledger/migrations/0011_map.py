from django.db import migrations, models

from scalewitness.domain.translog.prefix_tree import NOTHING


def plant(apps, schema_editor):
    """The map of nothing."""
    apps.get_model("ledger", "MapHead").objects.using(schema_editor.connection.alias).create(
        id=1, size=0, root=NOTHING
    )


class Migration(migrations.Migration):
    dependencies = [("ledger", "0010_succession")]
    operations = [
        migrations.CreateModel(
            name="MapHead",
            fields=[
                ("id", models.SmallIntegerField(default=1, primary_key=True, serialize=False)),
                ("size", models.BigIntegerField(default=0)),
                ("root", models.BinaryField()),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("id", 1)), name="one_map_head")
                ]
            },
        ),
        migrations.CreateModel(
            name="MapNode",
            fields=[
                ("place", models.BinaryField(primary_key=True, serialize=False)),
                ("hash", models.BinaryField()),
                ("path", models.BinaryField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name="MapSubject",
            fields=[
                ("subject", models.UUIDField(primary_key=True, serialize=False)),
                ("path", models.BinaryField()),
                ("path_proof", models.BinaryField()),
                ("count", models.BigIntegerField()),
                ("chain", models.BinaryField()),
            ],
            options={"indexes": [models.Index(fields=["path"], name="map_subject_path")]},
        ),
        migrations.CreateModel(
            name="StatedMap",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("root", models.CharField(max_length=64)),
                ("key", models.CharField(max_length=64)),
            ],
            options={"abstract": False},
        ),
        migrations.RunPython(plant, migrations.RunPython.noop),
    ]
