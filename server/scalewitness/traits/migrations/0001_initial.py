import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('animals', '0007_joining'),
    ]

    operations = [
        migrations.CreateModel(
            name='TraitStatement',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('by', models.UUIDField()),
                ('at', models.DateTimeField()),
                ('says', models.CharField(max_length=13)),
                ('basis', models.CharField(max_length=7)),
                ('locus', models.CharField(blank=True, max_length=60)),
                ('allele', models.CharField(blank=True, max_length=60)),
                ('chance', models.CharField(blank=True, max_length=8)),
                ('animal', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='trait_statements', to='animals.animal')),
            ],
            options={
                'indexes': [models.Index(fields=['animal', '-position'], name='traits_of_animal')],
            },
        ),
        migrations.CreateModel(
            name='TraitWithdrawal',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('at', models.DateTimeField()),
                ('statement', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='withdrawal', to='traits.traitstatement')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
