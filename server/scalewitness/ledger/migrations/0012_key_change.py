from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("ledger", "0011_map")]
    operations = [
        migrations.AddField(
            model_name="checkpoint",
            name="replaces",
            field=models.CharField(max_length=400, null=True),
        ),
        migrations.AddIndex(
            model_name="checkpoint",
            index=models.Index(
                condition=models.Q(("replaces__isnull", False)),
                fields=["size"],
                name="checkpoint_key_change",
            ),
        ),
    ]
