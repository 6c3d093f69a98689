from django.db import migrations, models

GIVEN_OUT = "INSERT INTO ledger_givenout (size) SELECT DISTINCT size FROM ledger_checkpoint"


class Migration(migrations.Migration):
    dependencies = [("ledger", "0013_witness_ends")]
    operations = [
        migrations.CreateModel(
            name="GivenOut",
            fields=[("size", models.BigIntegerField(primary_key=True, serialize=False))],
            options={"abstract": False},
        ),
        migrations.RunSQL(GIVEN_OUT, migrations.RunSQL.noop),
    ]
