"""Letters about the same to one person are numbered and leave in that order."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("mail", "0002_letter_joined_to_alter_letter_state_deliveryreport")]

    operations = [
        migrations.AddField(
            model_name="letter",
            name="about",
            field=models.CharField(blank=True, default="", max_length=120),
        ),
        migrations.AddField(
            model_name="letter", name="nth", field=models.PositiveIntegerField(default=0)
        ),
        migrations.AddIndex(
            model_name="letter",
            index=models.Index(
                fields=["recipient", "about", "nth"],
                name="letter_about",
                condition=~models.Q(("about", "")),
            ),
        ),
        migrations.AddIndex(
            model_name="letter",
            index=models.Index(
                fields=["joined_to"],
                name="letter_joined",
                condition=~models.Q(("joined_to", None)),
            ),
        ),
    ]
