"""What the worker does about visits."""

from celery import shared_task
from django.utils import timezone

from scalewitness.visits.services import forget_past_invitations


@shared_task(name="scalewitness.visits.tasks.forget_invitations")
def forget_invitations() -> int:
    """Addresses of those who never answered are not kept; safe to run twice at once."""
    return forget_past_invitations(timezone.now())
