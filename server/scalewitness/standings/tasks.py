"""What the clock brings about that is no fact."""

from celery import shared_task
from django.utils import timezone

from scalewitness.standings import services


@shared_task(name="scalewitness.standings.tasks.learn_numbers")
def learn_numbers() -> int:
    """Publishes what the settled animals tell of the model's numbers; safe to repeat. Returns how
    many numbers were learned."""
    return len(services.learn_numbers(timezone.now()).numbers)
