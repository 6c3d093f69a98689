import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('traits', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='ClaimChange',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('fell', models.BooleanField()),
                ('chance', models.CharField(blank=True, max_length=8)),
                ('cause', models.UUIDField()),
                ('statement', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='changes', to='traits.traitstatement')),
            ],
            options={
                'indexes': [models.Index(fields=['statement', '-position'], name='claim_latest')],
            },
        ),
    ]
