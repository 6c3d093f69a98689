"""Letters to practices that listed senders by name alone, so that no erasure found them, list none."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor


def forget_names(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    letters = apps.get_model("mail", "Letter").objects.using(schema_editor.connection.alias)
    for letter in letters.filter(kind="report_to_answer").iterator():
        letter.context["senders"] = []
        letter.save(update_fields=["context"])


class Migration(migrations.Migration):
    dependencies = [("mail", "0003_letters_about_the_same")]

    operations = [migrations.RunPython(forget_names, migrations.RunPython.noop)]
