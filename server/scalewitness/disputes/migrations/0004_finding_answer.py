import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('disputes', '0003_finding_basis_finding_document'),
    ]

    operations = [
        migrations.AddField(
            model_name='finding',
            name='proposed',
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name='finding',
            name='arbiter',
            field=models.UUIDField(null=True),
        ),
        migrations.CreateModel(
            name='FindingAnswer',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('position', models.BigIntegerField(unique=True)),
                ('by', models.UUIDField()),
                ('agrees', models.BooleanField()),
                ('set_aside', models.JSONField(default=list)),
                ('at', models.DateTimeField()),
                ('finding', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='answers', to='disputes.finding')),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
