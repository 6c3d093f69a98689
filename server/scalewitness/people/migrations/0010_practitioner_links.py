import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0009_practitioner_addresses")]

    operations = [
        migrations.CreateModel(
            name="PractitionerLink",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("upto", models.BigIntegerField()),
                ("made_at", models.DateTimeField()),
                ("expires_at", models.DateTimeField()),
                ("revoked_at", models.DateTimeField(null=True)),
                (
                    "address",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="links",
                        to="people.practitioneraddress",
                    ),
                ),
            ],
        ),
    ]
