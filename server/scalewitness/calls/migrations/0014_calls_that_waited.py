from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("calls", "0013_one_examiner")]

    operations = [
        migrations.AddIndex(
            model_name="call",
            index=models.Index(
                condition=models.Q(("waits", True)), fields=["received_at"], name="call_that_waited"
            ),
        ),
    ]
