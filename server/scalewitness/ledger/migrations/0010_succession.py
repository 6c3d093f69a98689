from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0009_refused")]

    operations = [
        migrations.CreateModel(
            name="Succession",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                ("position", models.BigIntegerField(unique=True)),
                ("old_key", models.CharField(max_length=400)),
                ("new_key", models.CharField(max_length=400)),
                ("checkpoint", models.TextField()),
                ("missing", models.BigIntegerField()),
                ("at", models.DateTimeField()),
            ],
            options={"abstract": False},
        ),
    ]
