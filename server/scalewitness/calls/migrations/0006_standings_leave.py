"""The tables of standings belong to ``standings`` from here on; the database stays as it is."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("calls", "0005_fewer_indexes")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.DeleteModel(name="AdoptedPolicy"),
                migrations.DeleteModel(name="ExaminerRecord"),
                migrations.DeleteModel(name="Standing"),
                migrations.DeleteModel(name="StatedLinkage"),
            ]
        )
    ]
