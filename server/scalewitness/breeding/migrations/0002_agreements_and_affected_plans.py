import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('animals', '0007_joining'),
        ('breeding', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='PairingAgreement',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('by', models.UUIDField()),
                ('at', models.DateTimeField()),
                ('pairing', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='agreements', to='breeding.pairing')),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='AffectedPlan',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('season', models.SmallIntegerField()),
                ('animal', models.UUIDField()),
                ('cause', models.UUIDField()),
                ('change', models.CharField(max_length=10)),
                ('pairings', models.JSONField()),
                ('at', models.DateTimeField()),
                ('collection', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='affected_plans', to='animals.collection')),
            ],
            options={
                'indexes': [models.Index(fields=['collection', 'season', 'position'], name='affected_plan_of')],
            },
        ),
    ]
