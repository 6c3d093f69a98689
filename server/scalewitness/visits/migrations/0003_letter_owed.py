from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0002_invitations_by_letter")]

    operations = [
        migrations.AddField(
            model_name="invitationbyletter",
            name="letter_owed",
            field=models.BooleanField(db_default=True, default=True),
        ),
    ]
