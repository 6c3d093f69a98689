"""Letters about disputes."""

from collections.abc import Iterable
from typing import Any, Literal
from uuid import UUID

from scalewitness.disputes.models import Dispute, Finding
from scalewitness.letters.animals import Concerned, as_bought, concerned, notify_concerned
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import notify_buyer
from scalewitness.sales.models import Sale


def notify_of_dispute(opened: Dispute, readers: Iterable[Concerned], owing: Owing) -> None:
    """Who sold the animal and has no seat is told where their own sale is."""
    _tell(opened, readers, "dispute_opened", opened.pk, {"ground": opened.ground}, owing)


def notify_of_statement(dispute: Dispute, fact: UUID, owing: Owing) -> None:
    """Everyone with a seat but its author hears that a party made a statement, not its text."""
    readers = [
        one
        for one in concerned(dispute.animal, owing)
        if one.keeper.pk != owing.sender and has_seat(one, dispute.sale)
    ]
    stated = {"stated_by": _part_of(owing.sender, dispute.sale)}
    _tell(dispute, readers, "statement_made", fact, stated, owing)


def _part_of(author: UUID | None, sale: Sale | None) -> Literal["buyer", "seller", "keeper"]:
    """``author``: None, a buyer by their link."""
    if author is None or (sale is not None and author == sale.buyer.keeper_id):
        return "buyer"
    return "seller" if sale is not None and author == sale.collection.keeper_id else "keeper"


def has_seat(reader: Concerned, sale: Sale | None) -> bool:
    """Whether they may read a dispute over that sale, or over none."""
    return reader.sold is None or (
        sale is not None and sale.collection.keeper_id == reader.keeper.pk
    )


def _tell(
    dispute: Dispute,
    readers: Iterable[Concerned],
    kind: str,
    cause: UUID,
    context: dict[str, Any],
    owing: Owing,
) -> None:
    for one in readers:
        seat = str(dispute.pk) if has_seat(one, dispute.sale) else None
        more = {**context, "dispute": seat}
        about = f"dispute {dispute.pk}"
        notify_concerned([one], dispute.animal, kind, cause, more, owing, about)


def notify_of_finding(dispute: Dispute, found: Finding, owing: Owing) -> None:
    """The buyer of the disputed sale hears the outcome."""
    if dispute.sale is None:
        return
    context = {
        "animal": as_bought(dispute.animal, dispute.sale),
        "outcome": found.outcome,
        "remedy_found": found.remedy,
    }
    notify_buyer(dispute.sale, "finding", found.pk, context, owing)
