from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0014_calls_that_waited")]

    operations = [
        migrations.AlterField(
            model_name="attestation", name="by", field=models.UUIDField(null=True)
        ),
    ]
