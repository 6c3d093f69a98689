from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0010_footing_of_a_call")]

    operations = [
        migrations.AddField(
            model_name="heldcall",
            name="kind",
            field=models.CharField(default="call_made", max_length=20),
        ),
        migrations.AddField(
            model_name="heldcall", name="grant", field=models.UUIDField(null=True)
        ),
    ]
