import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0017_habits")]

    operations = [
        migrations.CreateModel(
            name="KeyEndorsement",
            fields=[
                ("key", models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name="endorsement", serialize=False, to="people.devicekey")),
                ("position", models.BigIntegerField(unique=True)),
                ("by", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="endorsements", to="people.devicekey")),
            ],
            options={"abstract": False},
        ),
        migrations.CreateModel(
            name="SigningRule",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("required", models.BooleanField()),
                ("wait", models.BooleanField()),
                ("keeper", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="signing_rules", to=settings.AUTH_USER_MODEL)),
                ("device", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="rules", to="people.devicekey")),
            ],
            options={"abstract": False},
        ),
    ]
