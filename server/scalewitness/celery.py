"""The Celery application: letters leave through it, nothing is decided in it."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")

app = Celery("scalewitness")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
