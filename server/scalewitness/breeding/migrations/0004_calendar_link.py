import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('breeding', '0003_season_notes'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='CalendarLink',
            fields=[
                ('id', models.UUIDField(primary_key=True, serialize=False)),
                ('made_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(null=True)),
                ('keeper', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='calendar_links', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at', None)), fields=('keeper',), name='one_calendar_link')],
            },
        ),
    ]
