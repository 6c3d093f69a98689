"""Letters about disputes."""

from collections.abc import Iterable
from typing import Any, Literal
from uuid import UUID

from scalewitness.animals.queries import share_a_collection
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import Said, said_of
from scalewitness.domain.facts import FindingAnswered
from scalewitness.domain.findings import Part
from scalewitness.fresh_ids import fresh_id
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import (
    Concerned,
    as_bought,
    as_sold,
    concerned,
    describe,
    notify_concerned,
)
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import notify_buyer
from scalewitness.people.queries import keeper_of
from scalewitness.sales.models import Sale
from scalewitness.sales.services import lasting_link


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
    """Both sides of the disputed sale hear the outcome, and the arbiter that they are named; but
    not whoever recorded it."""
    told = {
        one
        for one in (found.arbiter, _seller(dispute))
        if one and not share_a_collection(one, found.by)
    }
    _tell_of_finding(dispute, found, found.pk, told, owing)


def notify_of_answer(
    dispute: Dispute, found: Finding, fact: Logged[FindingAnswered], owing: Owing
) -> None:
    """Whoever recorded the finding hears of an answer, and the buyer of one that is not theirs."""
    _tell_of_finding(dispute, found, fact.id, {found.by}, owing, answered_by=fact.sender)


def _tell_of_finding(
    dispute: Dispute,
    found: Finding,
    cause: UUID,
    keepers: set[UUID],
    owing: Owing,
    answered_by: UUID | None = None,
) -> None:
    said = said_of(dispute, found)
    context = {
        "outcome": said.outcome,
        "remedy_found": found.remedy,
        "word": said.word,
        "recorder": said.recorder,
        "answered": answered_by is not None,
        "would_set_aside": len(said.would_set_aside),
        "words_of": str(found.pk),
    }
    sale = dispute.sale
    if sale is not None and not {owing.sender, answered_by} & _buyer(sale):
        link = lasting_link(sale, fresh_id(owing.now), owing.now)
        context_of_sale = {
            "animal": as_bought(dispute.animal, sale),
            "asked": "buyer" in said.open_to,
            "link": str(link.pk),
        }
        notify_buyer(sale, "finding", cause, context | context_of_sale, owing)
    for keeper in keepers:
        _tell_keeper(dispute, found, keeper, cause, said, context, owing)


def _tell_keeper(
    dispute: Dispute,
    found: Finding,
    keeper: UUID,
    cause: UUID,
    said: Said,
    context: dict[str, Any],
    owing: Owing,
) -> None:
    """Not whoever is still to check the animal blind."""
    person = keeper_of(keeper)
    sight = sights_of(keeper, [dispute.animal_id], owing.now).get(dispute.animal_id)
    if person is None or sight == "blind":
        return
    part: Part = "arbiter" if keeper == found.arbiter else "seller"
    owing.owe(
        "finding_keeper",
        cause=cause,
        recipient=keeper,
        to=person.email,
        context=context
        | {
            "to_name": person.name,
            "animal": _as_known(dispute, whole=sight == "all"),
            "dispute": str(dispute.pk),
            "asked": keeper != found.by and part in said.open_to,
        },
        about=f"dispute {dispute.pk}",
    )


def _as_known(dispute: Dispute, *, whole: bool) -> dict[str, Any]:
    """Not ``whole``: as of the sale, to whoever may not see the animal any more."""
    if whole or dispute.sale is None:
        return describe(dispute.animal, named=whole)
    return as_sold(dispute.animal, dispute.sale)


def _buyer(sale: Sale) -> set[UUID]:
    return {one for one in (sale.buyer_id, sale.buyer.keeper_id) if one}


def _seller(dispute: Dispute) -> UUID | None:
    return dispute.sale.collection.keeper_id if dispute.sale else None
