"""The Celery application: letters leave through it, nothing is decided in it."""

import os

from celery import Celery
from celery.signals import worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
os.environ["SCALEWITNESS_PROCESS"] = "worker"

app = Celery("scalewitness")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect
def stand_back(**_: object) -> None:
    """Somebody waits for every page, and for no letter so closely."""
    os.nice(10)
