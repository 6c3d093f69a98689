"""What the worker does: send what is owed until nothing is due."""

from celery import shared_task
from django.utils import timezone

from scalewitness.mail.services.delivering import deliver_due


@shared_task(name="scalewitness.mail.tasks.deliver_waiting")
def deliver_waiting() -> int:
    """Runs on every wake-up and every few seconds by beat; safe to run twice at once."""
    return deliver_due(timezone.now())
