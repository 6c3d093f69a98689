import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('breeding', '0002_agreements_and_affected_plans'),
    ]

    operations = [
        migrations.CreateModel(
            name='SeasonNote',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('by', models.UUIDField()),
                ('at', models.DateTimeField()),
                ('what', models.CharField(max_length=20)),
                ('on', models.DateField()),
                ('counted', models.JSONField()),
                ('pairing', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='notes', to='breeding.pairing')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='SeasonNoteEnd',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('by', models.UUIDField()),
                ('at', models.DateTimeField()),
                ('note', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='end', to='breeding.seasonnote')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
