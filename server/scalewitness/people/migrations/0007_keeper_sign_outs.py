from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0006_keeper_digest")]

    operations = [
        migrations.AddField(
            model_name="keeper",
            name="sign_outs",
            field=models.PositiveIntegerField(default=0),
        ),
    ]
