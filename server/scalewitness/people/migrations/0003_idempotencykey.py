from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0002_device_token")]
    operations = [
        migrations.CreateModel(
            name="IdempotencyKey",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sender", models.UUIDField()),
                ("key", models.CharField(max_length=100)),
                ("fact", models.UUIDField(unique=True)),
                ("first_used_at", models.DateTimeField()),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("sender", "key"), name="one_fact_per_key")
                ],
            },
        ),
    ]
