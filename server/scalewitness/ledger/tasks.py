"""Signing the log's head in the background, so that outsiders see it grow."""

from celery import shared_task
from django.utils import timezone

from scalewitness.ledger.services.signing import sign_checkpoint


@shared_task(name="scalewitness.ledger.tasks.sign_head")
def sign_head() -> None:
    """A checkpoint over what is in the log now; nothing to do where it has not grown."""
    sign_checkpoint(timezone.now())
