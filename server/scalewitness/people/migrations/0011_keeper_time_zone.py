from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0010_practitioner_links")]

    operations = [
        migrations.AddField(
            model_name="keeper",
            name="time_zone",
            field=models.CharField(blank=True, default="", max_length=64),
        ),
    ]
