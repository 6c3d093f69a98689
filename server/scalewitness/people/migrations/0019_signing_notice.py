import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0018_own_word")]

    operations = [
        migrations.CreateModel(
            name="SigningNotice",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("at", models.DateTimeField()),
                ("keeper", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="signing_notices", to=settings.AUTH_USER_MODEL)),
            ],
            options={"abstract": False},
        ),
        migrations.CreateModel(
            name="SigningNoticeStop",
            fields=[
                ("notice", models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name="stop", serialize=False, to="people.signingnotice")),
                ("position", models.BigIntegerField(unique=True)),
                ("device", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="stops", to="people.devicekey")),
            ],
            options={"abstract": False},
        ),
    ]
