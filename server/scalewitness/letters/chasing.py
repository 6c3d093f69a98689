"""Disclosures that did not arrive or were not answered: the seller hears of it, the buyer is
reminded. Nothing here is a fact of the log; a disclosure stays open until it is acknowledged.
"""

from datetime import datetime, timedelta
from uuid import UUID, uuid5

from django.db import transaction

from scalewitness.disclosures.models import Disclosure
from scalewitness.letters.animals import as_bought, as_sold
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import letters_for
from scalewitness.mail.services import queueing as mail

REMIND_AFTER = timedelta(days=14)
SILENT_AFTER = timedelta(days=28)
"""After the letter left (our judgement)."""


def chase(now: datetime) -> int:
    """Owe whatever letters are due about disclosures not acknowledged; how many were looked
    at. Safe to repeat and to run twice at once: each letter has one cause."""
    waiting = Disclosure.objects.filter(acknowledgement=None).select_related(
        "sale__collection__keeper", "animal", "to"
    )
    owed = list(waiting.order_by("position"))
    letters = letters_for(one.pk for one in owed)
    with transaction.atomic():
        for one in owed:
            for letter in letters.get(one.pk, []):
                _chase(one, letter, now)
    return len(owed)


def _chase(owed: Disclosure, letter: Letter, now: datetime) -> None:
    if letter.undelivered:
        # A letter that comes back from another address is another matter.
        _notify_seller(owed, "disclosure_undelivered", uuid5(letter.pk, letter.to), now)
    elif letter.state == Letter.State.SENT and letter.sent_at:
        if now - letter.sent_at >= REMIND_AFTER and owed.to.reminders:
            _remind(owed, letter, now)
        if now - letter.sent_at >= SILENT_AFTER:
            _notify_seller(owed, "disclosure_silent", letter.pk, now)


def _notify_seller(owed: Disclosure, kind: str, cause: UUID, now: datetime) -> None:
    seller = owed.sale.collection.keeper
    mail.queue(
        id=uuid5(cause, kind),
        kind=kind,
        cause=cause,
        recipient=seller.pk,
        to=seller.email,
        context={
            "to_name": seller.name,
            "sale": str(owed.sale_id),
            "buyer_name": owed.to.name,
            "animal": as_sold(owed.animal, owed.sale),
            "owed_at": owed.owed_at.isoformat(),
            "disclosure": str(owed.pk),
        },
        now=now,
    )


def _remind(owed: Disclosure, letter: Letter, now: datetime) -> None:
    """Of the letter as it was, in its own words."""
    mail.queue(
        id=uuid5(letter.pk, "disclosure_reminder"),
        kind="disclosure_reminder",
        cause=letter.pk,
        recipient=owed.to_id,
        to=owed.to.email,
        context={
            "to_name": owed.to.name,
            "sale": str(owed.sale_id),
            "seller_name": owed.sale.collection.keeper.name,
            "animal": as_bought(owed.animal, owed.sale),
            "change": owed.change,
            "owed_at": owed.owed_at.isoformat(),
            "link": letter.context["link"],
        },
        now=now,
    )
