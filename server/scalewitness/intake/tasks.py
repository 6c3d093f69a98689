"""What the clock brings about."""

from celery import shared_task
from django.utils import timezone

from scalewitness.intake.statements import lapse_offers, update_examiner_records


@shared_task(name="scalewitness.intake.tasks.lapse_due_offers")
def lapse_due_offers() -> int:
    """Ends offers that ran out; safe to run twice at once, since the head's lock is taken."""
    return lapse_offers(timezone.now())


@shared_task(name="scalewitness.intake.tasks.update_records")
def update_records() -> int:
    """Makes up the examiners' records from what has been settled since; safe to repeat."""
    return update_examiner_records(timezone.now())
