"""Photos' files may lie in a bucket, and do not arrive again once they were erased."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("animals", "0007_joining")]

    operations = [
        migrations.AddField("photofile", "object", models.UUIDField(null=True, unique=True)),
        migrations.AlterField("photofile", "data", models.BinaryField(null=True)),
        migrations.CreateModel(
            name="PhotoErasure",
            fields=[
                (
                    "photo",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="erasure",
                        serialize=False,
                        to="animals.photo",
                    ),
                ),
                ("at", models.DateTimeField()),
                ("cleared_at", models.DateTimeField(null=True)),
            ],
        ),
        migrations.AddIndex(
            "photofile",
            models.Index(
                fields=["photo"],
                condition=models.Q(data__isnull=False),
                name="photo_file_in_database",
            ),
        ),
        migrations.AddIndex(
            "photoerasure",
            models.Index(
                fields=["photo"],
                condition=models.Q(cleared_at__isnull=True),
                name="photo_erasure_to_clear",
            ),
        ),
        migrations.AddConstraint(
            "photofile",
            models.CheckConstraint(
                condition=models.Q(data__isnull=True, object__isnull=False)
                | models.Q(data__isnull=False, object__isnull=True),
                name="photo_file_in_one_place",
            ),
        ),
    ]
