from django.db import migrations

from scalewitness.domain.translog.tree import Frontier


def plant(apps, schema_editor):
    """The empty log: size 0 and the root of the empty tree (RFC 9162)."""
    empty = Frontier(0, ())
    apps.get_model("ledger", "Head").objects.using(schema_editor.connection.alias).create(
        id=1, size=0, frontier=empty.to_bytes(), root=empty.root()
    )


class Migration(migrations.Migration):
    dependencies = [("ledger", "0001_initial")]
    operations = [migrations.RunPython(plant, migrations.RunPython.noop)]
