from datetime import timedelta

from django.db import migrations
from django.utils import timezone

IDLE = timedelta(days=180)


def end_when_idle(apps, schema_editor):
    """Tokens had no end. From now they end when nobody uses them for 180 days."""
    tokens = apps.get_model("knox", "AuthToken")
    tokens.objects.filter(expiry=None).update(expiry=timezone.now() + IDLE)


def proved_addresses_first(apps, schema_editor):
    """An account goes by an address that its keeper proved, where they proved any."""
    address = apps.get_model("account", "EmailAddress")
    for first in address.objects.filter(primary=True, verified=False):
        proved = address.objects.filter(user_id=first.user_id, verified=True).first()
        if proved is not None:
            address.objects.filter(pk=first.pk).update(primary=False)
            address.objects.filter(pk=proved.pk).update(primary=True)
            keepers = apps.get_model("people", "Keeper")
            keepers.objects.filter(pk=first.user_id).update(email=proved.email)


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0007_keeper_sign_outs"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("knox", "0009_extend_authtoken_field"),
    ]

    operations = [
        migrations.RunPython(end_when_idle, migrations.RunPython.noop),
        migrations.RunPython(proved_addresses_first, migrations.RunPython.noop),
    ]
