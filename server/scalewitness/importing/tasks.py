"""What the clock brings about."""

from celery import shared_task
from django.utils import timezone

from scalewitness.importing.services.bringing import forget_old


@shared_task(name="scalewitness.importing.tasks.forget_old_lists")
def forget_old_lists() -> int:
    """Deletes lists that were kept for a day; safe to repeat."""
    return forget_old(timezone.now())
