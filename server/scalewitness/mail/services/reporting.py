"""What mail hosts report later, held against the letters that were sent."""

from datetime import datetime

from django.db import transaction

from scalewitness.domain.delivery_reports import DeliveryReport as Report
from scalewitness.mail.models import DeliveryReport, Letter


def take_report(report: Report, now: datetime) -> Letter | None:
    """Note what became of a letter; None when no such letter went to that address. A Message-ID
    is known to its recipient and the hosts on the way, and to nobody else. The same report
    again changes nothing.
    """
    with transaction.atomic():
        letter = Letter.objects.select_for_update().filter(message_id=report.message_id).first()
        if letter is None or letter.to.lower() != report.recipient:
            return None
        _, new = DeliveryReport.objects.get_or_create(
            letter=letter,
            action=report.action,
            status=report.status,
            said=report.diagnostic,
            defaults={"at": now},
        )
        if new and report.action == "failed":
            letter.state, letter.claimed_until = Letter.State.RETURNED, None
            letter.last_error = f"returned {report.status}: {report.diagnostic}".strip(": ")
            letter.save(update_fields=["state", "claimed_until", "last_error"])
    return letter
