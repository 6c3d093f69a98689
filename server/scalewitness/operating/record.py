"""The log and the letters: whether what is to happen by itself happens."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from django.conf import settings
from django.utils import timezone

from scalewitness.ledger.models import Checkpoint
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.origins import origin
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.memory import present_origin
from scalewitness.mail.queries import unsent_since
from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result

SOON: Final = timedelta(seconds=60)
"""Within which the worker signs what came in and sends what is owed; both are looked for every ten
seconds (our judgement)."""


def log(asked: Asked) -> Iterator[Result]:
    """Open, under its own key, and signed lately."""
    if fence := standing_fence():
        yield Result("log", "wrong", f"it is fenced: {fence.reason}", "see adopt in OPERATING.md")
    else:
        yield Result("log", "right", f"it is open; entries: {tip().size}")
    if origin() not in {None, present_origin()}:
        words = f"this record is {origin()}, and LOG_SIGNING_KEY is of {present_origin()}"
        yield Result("signature", "wrong", words, "put the record's own key in place")
        return
    yield _signature()


def _signature() -> Result:
    now, last = timezone.now(), Checkpoint.objects.order_by("-size", "-pk").first()
    signed, todo = last.size if last else 0, "see that worker and beat run, and what they log"
    unsigned = entry_at(signed) if tip().size > signed else None
    if unsigned is not None and now - unsigned.received_at > SOON:
        words = f"entries from position {signed} on have not been signed for more than a minute"
        return Result("signature", "wrong", words, todo)
    if last is None:
        return Result("signature", "right", "there is nothing to sign yet")
    age = now - last.signed_at
    words = f"the last is {age.total_seconds() / 60:.0f} min old; entries: {last.size}"
    if age > timedelta(seconds=settings.LOG_SIGNS_WITHIN) + SOON:
        return Result("signature", "wrong", words, todo)
    return Result("signature", "right", words)


def letters(asked: Asked) -> Iterator[Result]:
    """Whether any waits that should have left."""
    count, oldest = unsent_since(timezone.now() - SOON)
    if oldest is None:
        yield Result("letters", "right", "none waits that should have left")
        return
    words = f"not left: {count}, the oldest since {oldest:%Y-%m-%d %H:%M} UTC"
    yield Result("letters", "wrong", words, "see the worker's log for what the mail host answers")
