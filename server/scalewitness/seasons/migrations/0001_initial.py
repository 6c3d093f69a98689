import django.contrib.postgres.fields
import django.contrib.postgres.indexes
import django.db.models.deletion
import simple_history.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('animals', '0007_joining'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='HistoricalSeason',
            fields=[
                ('id', models.UUIDField(db_index=True)),
                ('year', models.SmallIntegerField()),
                ('wants', models.JSONField(default=list)),
                ('limits', models.JSONField(default=dict)),
                ('kept', models.JSONField(default=list)),
                ('version', models.PositiveIntegerField(default=1)),
                ('history_id', models.AutoField(primary_key=True, serialize=False)),
                ('history_date', models.DateTimeField(db_index=True)),
                ('history_change_reason', models.CharField(max_length=100, null=True)),
                ('history_type', models.CharField(choices=[('+', 'Created'), ('~', 'Changed'), ('-', 'Deleted')], max_length=1)),
                ('collection', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='animals.collection')),
                ('history_user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'historical season',
                'verbose_name_plural': 'historical seasons',
                'ordering': ('-history_date', '-history_id'),
                'get_latest_by': ('history_date', 'history_id'),
            },
            bases=(simple_history.models.HistoricalChanges, models.Model),
        ),
        migrations.CreateModel(
            name='SeasonOutlook',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('year', models.SmallIntegerField()),
                ('position', models.BigIntegerField(default=0)),
                ('settings', models.PositiveIntegerField(default=0)),
                ('basis', django.contrib.postgres.fields.ArrayField(base_field=models.UUIDField(), default=list, size=None)),
                ('digest', models.CharField(blank=True, default='', max_length=64)),
                ('body', models.JSONField(default=dict)),
                ('asked_best', models.DateTimeField(null=True)),
                ('computed_at', models.DateTimeField(null=True)),
                ('claimed_until', models.DateTimeField(null=True)),
                ('collection', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='outlooks', to='animals.collection')),
                ('reader', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='outlooks', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'indexes': [django.contrib.postgres.indexes.GinIndex(fields=['basis'], name='outlook_basis')],
                'constraints': [models.UniqueConstraint(fields=('collection', 'year', 'reader'), name='one_outlook_a_reader')],
            },
        ),
        migrations.CreateModel(
            name='Season',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('year', models.SmallIntegerField()),
                ('wants', models.JSONField(default=list)),
                ('limits', models.JSONField(default=dict)),
                ('kept', models.JSONField(default=list)),
                ('version', models.PositiveIntegerField(default=1)),
                ('collection', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='seasons', to='animals.collection')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('collection', 'year'), name='one_season_a_year')],
            },
        ),
    ]
