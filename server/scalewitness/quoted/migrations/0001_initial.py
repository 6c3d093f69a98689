import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('animals', '0007_joining'),
    ]

    operations = [
        migrations.CreateModel(
            name='Quote',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('by', models.UUIDField()),
                ('at', models.DateTimeField()),
                ('sha256', models.CharField(max_length=64)),
                ('origin', models.CharField(max_length=200)),
                ('size', models.BigIntegerField()),
                ('there', models.UUIDField()),
                ('scheme', models.CharField(max_length=12)),
                ('code', models.CharField(max_length=60)),
                ('animal', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='quotes', to='animals.animal')),
            ],
            options={
                'indexes': [models.Index(fields=['animal', '-position'], name='quotes_of_animal')],
            },
        ),
        migrations.CreateModel(
            name='QuotedFile',
            fields=[
                ('quote', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name='file', serialize=False, to='quoted.quote')),
                ('data', models.BinaryField()),
                ('key', models.CharField(max_length=400)),
                ('root', models.CharField(max_length=64)),
                ('signed_at', models.DateTimeField(null=True)),
                ('entries', models.PositiveIntegerField()),
                ('calls', models.PositiveIntegerField()),
                ('label', models.CharField(blank=True, max_length=20)),
                ('p_male', models.CharField(blank=True, max_length=8)),
                ('arrived_at', models.DateTimeField()),
            ],
            options={
                'indexes': [models.Index(fields=['key'], name='quoted_key')],
            },
        ),
    ]
