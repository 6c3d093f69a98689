from django.db import migrations

from scalewitness.domain.translog.tiles import WIDTH, completed, tile_root
from scalewitness.domain.translog.tree import EMPTY_ROOT


def lay(apps, schema_editor):
    """Tiles over what the log already holds; and nothing was signed yet."""
    alias = schema_editor.connection.alias
    entry, head, signed, tile = (
        apps.get_model("ledger", name).objects.using(alias)
        for name in ("Entry", "Head", "SignedHead", "Tile")
    )
    signed.create(id=1, size=0, root=EMPTY_ROOT)
    for place in completed(0, head.get(pk=1).size):
        start, end = place.index * WIDTH, (place.index + 1) * WIDTH
        if place.level == 0:
            rows = entry.filter(position__gte=start, position__lt=end).order_by("position")
            hashes = b"".join(bytes(one) for one in rows.values_list("leaf_hash", flat=True))
        else:
            rows = tile.filter(level=place.level - 1, index__gte=start, index__lt=end)
            hashes = b"".join(
                bytes(one) for one in rows.order_by("index").values_list("root", flat=True)
            )
        tile.create(level=place.level, index=place.index, hashes=hashes, root=tile_root(hashes))


class Migration(migrations.Migration):
    dependencies = [("ledger", "0003_tiles_and_checkpoints")]
    operations = [migrations.RunPython(lay, migrations.RunPython.noop)]
