from django.db import migrations, models

from scalewitness.domain.translog.tiles import WIDTH, completed, layers_and_root


def lay(apps, schema_editor):
    """Tiles over what the log already holds, as they follow from its leaves."""
    alias = schema_editor.connection.alias
    entry, head, tile = (
        apps.get_model("ledger", name).objects.using(alias) for name in ("Entry", "Head", "Tile")
    )
    for place in completed(0, head.get(pk=1).size):
        start, end = place.index * WIDTH, (place.index + 1) * WIDTH
        if place.level == 0:
            rows = entry.filter(position__gte=start, position__lt=end)
            hashes = rows.order_by("position").values_list("leaf_hash", flat=True)
        else:
            rows = tile.filter(level=place.level - 1, index__gte=start, index__lt=end)
            hashes = rows.order_by("index").values_list("root", flat=True)
        layers, root = layers_and_root(b"".join(bytes(one) for one in hashes))
        tile.create(level=place.level, index=place.index, layers=layers, root=root)


class Migration(migrations.Migration):
    """Tiles are made anew, with their inner layers: their rows cannot be updated, and all
    that is in them follows from the entries."""

    dependencies = [("ledger", "0006_witnesses")]
    operations = [
        migrations.DeleteModel("Tile"),
        migrations.CreateModel(
            name="Tile",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("level", models.SmallIntegerField()),
                ("index", models.BigIntegerField()),
                ("layers", models.BinaryField()),
                ("root", models.BinaryField()),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("level", "index"), name="one_tile")
                ],
            },
        ),
        migrations.RunPython(lay, migrations.RunPython.noop),
    ]
