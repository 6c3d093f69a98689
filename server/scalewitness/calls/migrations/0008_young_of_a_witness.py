from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0007_attestation")]

    operations = [
        migrations.AddField("attestation", "young", models.UUIDField(null=True)),
    ]
