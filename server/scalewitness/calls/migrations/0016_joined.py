import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0015_reports_judged_anew")]

    operations = [
        migrations.CreateModel(
            name="Joined",
            fields=[
                (
                    "call",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="joined",
                        serialize=False,
                        to="calls.call",
                    ),
                ),
                ("position", models.BigIntegerField()),
            ],
            options={"abstract": False},
        ),
    ]
