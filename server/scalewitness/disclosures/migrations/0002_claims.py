from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('disclosures', '0001_initial'),
    ]

    operations = [
        migrations.AddField(
            model_name='disclosure',
            name='claim',
            field=models.UUIDField(null=True),
        ),
        migrations.AddField(
            model_name='disclosure',
            name='chance',
            field=models.CharField(db_default='', default='', max_length=8),
        ),
        migrations.RemoveConstraint(
            model_name='disclosure',
            name='one_disclosure_per_cause',
        ),
        migrations.AddConstraint(
            model_name='disclosure',
            constraint=models.UniqueConstraint(condition=models.Q(('claim', None)), fields=('sale', 'animal', 'to', 'cause'), name='one_disclosure_per_cause'),
        ),
        migrations.AddConstraint(
            model_name='disclosure',
            constraint=models.UniqueConstraint(fields=('sale', 'to', 'cause', 'claim'), name='one_disclosure_per_claim'),
        ),
    ]
