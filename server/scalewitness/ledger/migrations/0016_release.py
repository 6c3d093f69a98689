from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0015_timeline")]

    operations = [
        migrations.CreateModel(
            name="Release",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("version", models.CharField(max_length=20)),
                ("oldest", models.CharField(max_length=20)),
                ("at", models.DateTimeField()),
            ],
            options={"abstract": False},
        ),
    ]
