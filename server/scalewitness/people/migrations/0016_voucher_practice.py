from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0015_named_as_one")]

    operations = [
        migrations.AddField(
            model_name="voucher",
            name="practice",
            field=models.CharField(db_default="", default="", max_length=15),
        ),
    ]
