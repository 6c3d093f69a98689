"""What the clock brings about: seasons worked out again."""

from celery import shared_task
from django.utils import timezone

from scalewitness.seasons.services.computing import compute_due


@shared_task(name="scalewitness.seasons.tasks.compute_seasons")
def compute_seasons() -> int:
    """Works out every season on which something bears since; safe to run twice at once."""
    return compute_due(timezone.now())
