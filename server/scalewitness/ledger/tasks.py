"""Signing the log's head in the background, so that outsiders see it grow."""

import structlog
from celery import shared_task
from django.utils import timezone

from scalewitness.domain.errors import Busy, Fenced
from scalewitness.ledger.services.pushing import push_due
from scalewitness.ledger.services.signing import sign_in_time

log = structlog.get_logger()


@shared_task(name="scalewitness.ledger.tasks.sign_head")
def sign_head() -> None:
    """A checkpoint over what is in the log now; nothing to do where it has not grown and none is
    due, nor while it is fenced, which waits for its operator, or another process signs."""
    try:
        sign_in_time(timezone.now())
    except Fenced:
        log.warning("log_fenced")
    except Busy:
        log.warning("another_signs")


@shared_task(name="scalewitness.ledger.tasks.push_to_witnesses")
def push_to_witnesses() -> int:
    """The latest checkpoint to every outside witness that is due; safe to run twice at once."""
    return push_due(timezone.now())
