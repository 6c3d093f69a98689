"""Letters about disputes."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from scalewitness.calls.queries.visibility import sights_of
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import Summary, other_side, summary_of, would_set_aside
from scalewitness.disputes.queries.seats import part_for, part_in, seated
from scalewitness.domain.facts import DisputeOpened, FindingAnswered, StatementMade
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


def tell_buyers_of_dispute(opened: Dispute, fact: Logged[DisputeOpened], owing: Owing) -> None:
    """A party opened it: its buyer reads so too, and whoever bought the animal before; what was
    written with it, where it is for them."""
    for sale in _by_letter(opened, owing):
        part = part_for(sale, opened, fact.sender, owing.now)
        context = {"own": part == "you"} | ({"words_of": str(fact.id)} if part else {})
        _tell_buyer(opened, sale, "dispute_opened_buyer", fact.id, context, owing)


def notify_of_statement(dispute: Dispute, fact: Logged[StatementMade], owing: Owing) -> None:
    """Everyone with a seat but its author hears that a party made a statement; buyers read it in
    the letter, as far as it is for them."""
    part = part_in(dispute, fact.sender)
    readers = [
        one
        for one in concerned(dispute.animal, owing)
        if one.keeper.pk != owing.sender
        and has_seat(one, dispute.sale)
        and not (one.sold and part == "another buyer")
    ]
    _tell(dispute, readers, "statement_made", fact.id, {"stated_by": part}, owing)
    for sale in _by_letter(dispute, owing):
        stated_by = part_for(sale, dispute, fact.sender, owing.now)
        if stated_by and stated_by != "you":
            context = {"stated_by": stated_by, "words_of": str(fact.id)}
            _tell_buyer(dispute, sale, "statement_made_buyer", fact.id, context, owing)


def _by_letter(dispute: Dispute, owing: Owing) -> list[Sale]:
    """The sales whose buyers are told by their link: not those who are told as keepers."""
    readers = concerned(dispute.animal, owing)
    keepers = {one.keeper.pk for one in readers if has_seat(one, dispute.sale)}
    return [one for one in seated(dispute, owing.now) if one.buyer.keeper_id not in keepers]


def _tell_buyer(
    dispute: Dispute, sale: Sale, kind: str, cause: UUID, context: dict[str, Any], owing: Owing
) -> None:
    link = lasting_link(sale, fresh_id(owing.now), owing.now)
    more = {"animal": as_bought(dispute.animal, sale), "link": str(link.pk)}
    notify_buyer(sale, kind, cause, more | context, owing)


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
    seller = None if other_side(dispute, found.by, found.position) == "buyer" else _seller(dispute)
    readers = {one for one in (found.arbiter, seller) if one and one != found.by}
    _tell_of_finding(dispute, found, found.pk, readers, owing)


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
    for sale in seated(dispute, owing.now):
        known = {owing.sender, answered_by, *keepers} - {None}
        if not known & {sale.buyer_id, sale.buyer.keeper_id}:
            summary = summary_of(dispute, found, sale)
            context = _found(found, summary, answered=answered_by is not None)
            asked = sale.pk == dispute.sale_id and "buyer" in summary.open_to
            context |= _asked(found, asked=asked)
            _tell_buyer(dispute, sale, "finding", cause, context, owing)
    summary = summary_of(dispute, found)
    context = _found(found, summary, answered=answered_by is not None)
    for keeper in keepers:
        _tell_keeper(dispute, found, keeper, cause, summary, context, owing)


def _found(found: Finding, summary: Summary, *, answered: bool) -> dict[str, Any]:
    return {
        "outcome": summary.outcome,
        "remedy_found": found.remedy,
        "word": summary.word,
        "recorder": summary.recorder,
        "answered": answered,
        "words_of": str(found.pk),
    }


def _asked(found: Finding, *, asked: bool) -> dict[str, Any]:
    """What agreeing would do, for somebody who is asked."""
    return {"asked": asked, "would_set_aside": len(would_set_aside(found)) if asked else 0}


def _tell_keeper(
    dispute: Dispute,
    found: Finding,
    keeper: UUID,
    cause: UUID,
    summary: Summary,
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
            **_asked(found, asked=keeper != found.by and part in summary.open_to),
        },
        about=f"dispute {dispute.pk}",
    )


def _as_known(dispute: Dispute, *, whole: bool) -> dict[str, Any]:
    """Not ``whole``: as of the sale, to whoever may not see the animal any more."""
    if whole or dispute.sale is None:
        return describe(dispute.animal, named=whole)
    return as_sold(dispute.animal, dispute.sale)


def _seller(dispute: Dispute) -> UUID | None:
    return dispute.sale.collection.keeper_id if dispute.sale else None
