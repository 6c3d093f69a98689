"""So that it is soon found of what an animal was ever named a parent."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("animals", "0004_ended")]

    operations = [
        migrations.RunSQL(
            f"CREATE INDEX animal_once_{role} ON animals_historicalanimal ({role}) "
            f"WHERE {role} IS NOT NULL",
            f"DROP INDEX animal_once_{role}",
        )
        for role in ("sire", "dam")
    ]
