"""What mail hosts report later, held against the letters that were sent."""

from datetime import datetime

from django.db import transaction

from scalewitness.domain.delivery_reports import DeliveryReport as Told
from scalewitness.mail.models import DeliveryReport, Letter


def take_report(told: Told, now: datetime) -> Letter | None:
    """Note what became of a letter; None when no such letter went to that address. A Message-ID
    is known to its recipient and the hosts on the way, and to nobody else. The same report
    again changes nothing.
    """
    with transaction.atomic():
        letter = Letter.objects.select_for_update().filter(message_id=told.message_id).first()
        if letter is None or letter.to.lower() != told.recipient:
            return None
        _, new = DeliveryReport.objects.get_or_create(
            letter=letter,
            action=told.action,
            status=told.status,
            said=told.said,
            defaults={"at": now},
        )
        if new and told.action == "failed":
            letter.state, letter.claimed_until = Letter.State.RETURNED, None
            letter.last_error = f"returned {told.status}: {told.said}".strip(": ")
            letter.save(update_fields=["state", "claimed_until", "last_error"])
    return letter
