from datetime import timedelta

from django.db import migrations, models
from django.utils import timezone

IDLE = timedelta(days=180)


def _rows(apps, schema_editor, app, model):
    """By the role that migrates: the runtime's has no rights yet on a new database."""
    return apps.get_model(app, model).objects.using(schema_editor.connection.alias)


def end_when_idle(apps, schema_editor):
    """Tokens had no end. From now they end when nobody uses them for 180 days."""
    tokens = _rows(apps, schema_editor, "knox", "AuthToken")
    tokens.filter(expiry=None).update(expiry=timezone.now() + IDLE)


def proved_addresses_first(apps, schema_editor):
    """An account goes by an address that its keeper proved, where they proved any."""
    addresses = _rows(apps, schema_editor, "account", "EmailAddress")
    keepers = _rows(apps, schema_editor, "people", "Keeper")
    for first in list(addresses.filter(primary=True, verified=False)):
        proved = addresses.filter(user_id=first.user_id, verified=True).first()
        if proved is not None:
            addresses.filter(pk=first.pk).update(primary=False)
            addresses.filter(pk=proved.pk).update(primary=True)
            keepers.filter(pk=first.user_id).update(email=proved.email)


def pages_are_for_confirmed_addresses(apps, schema_editor):
    """Who has proved no address is signed out of every browser; signing in sends the letter."""
    proved = _rows(apps, schema_editor, "account", "EmailAddress").filter(verified=True)
    keepers = _rows(apps, schema_editor, "people", "Keeper")
    unproved = keepers.exclude(pk__in=proved.values("user_id"))
    unproved.update(sign_outs=models.F("sign_outs") + 1)


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0007_keeper_sign_outs"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("knox", "0009_extend_authtoken_field"),
    ]

    operations = [
        migrations.RunPython(end_when_idle, migrations.RunPython.noop),
        migrations.RunPython(proved_addresses_first, migrations.RunPython.noop),
        migrations.RunPython(pages_are_for_confirmed_addresses, migrations.RunPython.noop),
    ]
