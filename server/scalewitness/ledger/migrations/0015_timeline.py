from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0014_given_out")]

    operations = [
        migrations.CreateModel(
            name="Timeline",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("system", models.CharField(max_length=20)),
                ("timeline", models.BigIntegerField()),
                ("size", models.BigIntegerField()),
                ("at", models.DateTimeField()),
            ],
            options={"abstract": False},
        ),
    ]
