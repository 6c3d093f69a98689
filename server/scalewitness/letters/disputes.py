"""Letters about disputes."""

from collections.abc import Collection
from uuid import UUID

from scalewitness.disputes.models import Dispute, Finding
from scalewitness.letters.animals import notify_concerned
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import as_sold, notify_buyer
from scalewitness.sales.models import Sale


def notify_of_dispute(opened: Dispute, owing: Owing, sales: Collection[Sale] | None = None) -> None:
    context = {"ground": opened.ground, "dispute": str(opened.pk)}
    notify_concerned(
        opened.animal,
        "dispute_opened",
        opened.pk,
        context,
        owing,
        sales=sales,
        about=f"dispute {opened.pk}",
    )


def notify_of_statement(dispute: Dispute, fact: UUID, owing: Owing) -> None:
    """Everyone concerned but its author hears that a party made a statement, not its text."""
    context = {"dispute": str(dispute.pk)}
    notify_concerned(
        dispute.animal,
        "statement_made",
        fact,
        context,
        owing,
        but=owing.sender,
        about=f"dispute {dispute.pk}",
    )


def notify_of_finding(dispute: Dispute, found: Finding, owing: Owing) -> None:
    """The buyer of the disputed sale hears the outcome."""
    if dispute.sale is None:
        return
    context = {
        "animal": as_sold(dispute.animal, dispute.sale),
        "outcome": found.outcome,
        "remedy_found": found.remedy,
    }
    notify_buyer(dispute.sale, "finding", found.pk, context, owing)
