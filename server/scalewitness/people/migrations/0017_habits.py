from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0016_voucher_practice")]

    operations = [
        migrations.AddField(
            model_name="keeper",
            name="day_style",
            field=models.CharField(blank=True, db_default="", default="", max_length=12),
        ),
        migrations.AddField(
            model_name="keeper",
            name="weight_unit",
            field=models.CharField(blank=True, db_default="", default="", max_length=12),
        ),
    ]
