from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0019_signing_notice")]

    operations = [
        migrations.AddField("devicekey", "recovery", models.BooleanField(default=False, db_default=False)),
    ]
