from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("animals", "0003_photo_photofile")]

    operations = [
        migrations.AddField("animal", "ended", models.CharField(blank=True, default="", max_length=6)),
        migrations.AddField("animal", "ended_at", models.DateTimeField(null=True)),
        migrations.AddField(
            "historicalanimal", "ended", models.CharField(blank=True, default="", max_length=6)
        ),
        migrations.AddField("historicalanimal", "ended_at", models.DateTimeField(null=True)),
    ]
