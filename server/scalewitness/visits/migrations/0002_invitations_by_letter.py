import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("animals", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("visits", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="InvitationByLetter",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("email", models.EmailField(max_length=254)),
                ("animals", models.JSONField()),
                ("opens", models.DateTimeField()),
                ("closes", models.DateTimeField(db_index=True)),
                ("blind", models.BooleanField()),
                ("invited_at", models.DateTimeField()),
                ("declined_at", models.DateTimeField(null=True)),
                (
                    "collection",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="animals.collection",
                    ),
                ),
                (
                    "host",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
    ]
