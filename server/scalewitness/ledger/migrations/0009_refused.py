from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0008_entries_by_sender")]

    operations = [
        migrations.AlterField(
            model_name="fence",
            name="state",
            field=models.CharField(
                choices=[("raised", "Raised"), ("lifted", "Lifted"), ("refused", "Refused")],
                max_length=10,
            ),
        ),
    ]
