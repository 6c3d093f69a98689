"""Who may agree to a finding besides whoever recorded it, and what is so by their word.

A finding is recorded by a keeper of the animal, who always has an interest in it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypeAlias
from uuid import UUID

from django.db.models import Q, QuerySet

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import is_steward
from scalewitness.animals.queries.partners import share_a_collection
from scalewitness.calls.models import COUNTS, Call
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.disputes.models import Dispute, Finding, FindingAnswer
from scalewitness.disputes.queries.seats import is_buyer_of
from scalewitness.domain.findings import Part, on_whose_word, outcome_in_words
from scalewitness.domain.sales import AGREED
from scalewitness.people.models import Grant
from scalewitness.people.queries import grants_given
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import parties_to_sales, progress_of
from scalewitness.standings.queries.footing import footed

SOME = 40
Side: TypeAlias = Literal["buyer", "seller"] | None


def ground_against(call: Call, arbiter: UUID | None) -> QuerySet[Call]:
    """Later blind calls that came to the other conclusion, by others without an interest whose
    word has a footing, and not by the arbiter."""
    found = Call.objects.filter(
        COUNTS, animal=call.animal_id, position__gt=call.position, blind=True, interested=False
    )
    others = footed(found).exclude(examiner=call.examiner)
    if arbiter is not None:
        others = others.exclude(Q(examiner=arbiter) | Q(by=arbiter))
    return others.exclude(conclusion__in=[call.conclusion, "undetermined"])


WhyKept = Literal["over", "their own", "no ground"]


def why_kept(call: Call, arbiter: UUID | None) -> WhyKept | None:
    """Why a call cannot be set aside; None where it can. It goes on evidence, not on say-so: a
    later blind call by someone else, with no interest in the animal, must have come to the other
    conclusion, and their word must have a footing (our judgement). Neither call may be the
    arbiter's own."""
    if call.over:
        return "over"
    if arbiter in {call.by, call.examiner}:
        return "their own"
    return None if ground_against(call, arbiter).exists() else "no ground"


def may_be_set_aside(dispute: Dispute, *, asked: bool) -> set[UUID]:
    """The calls that its keeper's finding could set aside now, or propose to: of those made without
    an interest only where somebody can be ``asked`` to agree."""
    calls = Call.objects.filter(animal=dispute.animal_id)
    return {one.pk for one in calls if (one.interested or asked) and not why_kept(one, None)}


def would_set_aside(found: Finding) -> tuple[str, ...]:
    """Of the calls proposed, those that agreeing would set aside now."""
    calls = Call.objects.in_bulk(found.proposed)
    return tuple(
        one
        for one in found.proposed
        if not calls[UUID(one)].over and ground_against(calls[UUID(one)], found.arbiter).exists()
    )


def other_side(dispute: Dispute, by: UUID, position: int | None = None) -> Side:
    """The other side of the sale than whoever recorded the finding at that log position, or
    records it now; None where there is no sale that was confirmed, or both are one person.

    Whoever bought or sold it is their own side, whatever grants say: a grant needs nobody's
    acceptance, so it cannot shut them out. Only of others do partnerships tell the side.
    """
    sale = dispute.sale
    if sale is None or progress_of(sale).state not in AGREED:
        return None
    buyer, seller = sale.buyer.keeper_id, sale.collection.keeper_id
    if buyer == seller:
        return None
    if by == buyer:
        return "seller"
    if by == seller or buyer is None or _was_partner(by, [sale.collection_id], position):
        return "buyer"
    theirs = Collection.objects.filter(keeper=buyer).values_list("pk", flat=True)
    return "seller" if _was_partner(by, theirs, position) else "buyer"


def _was_partner(keeper: UUID, collections: Iterable[UUID], position: int | None) -> bool:
    """In one of them, by a grant that was given before that log position and not ended then."""
    given = Grant.objects.filter(
        to=keeper, role=Grant.Role.PARTNER, collection__in=list(collections)
    )
    if position is None:
        return given.filter(end=None).exists()
    in_force = Q(end=None) | Q(end__position__gt=position)
    return given.filter(in_force, position__lt=position).exists()


def answering(
    dispute: Dispute,
    found: Finding,
    side: Side,
    keeper: UUID | None,
    *,
    as_buyer: bool,
    now: datetime,
) -> Part | None:
    """As what somebody may answer, if at all. ``side``: as `other_side` has it; ``as_buyer``: they
    are the buyer of its sale."""
    if keeper is not None and keeper == found.arbiter:
        return "arbiter" if _is_without_interest(keeper, dispute, now) else None
    if side == "buyer":
        return "buyer" if as_buyer else None
    return side if side and _sold_it(keeper, dispute, found.by, now) else None


def _sold_it(keeper: UUID | None, dispute: Dispute, by: UUID, now: datetime) -> bool:
    """Whether they sold it, or are a partner of whoever did and not of the house that recorded
    the finding; and are not to check the animal blind."""
    if keeper is None or dispute.sale is None:
        return False
    sights = sights_of(keeper, [dispute.animal_id], now)
    if sights.get(dispute.animal_id) == "blind":
        return False
    sold = dispute.sale.collection
    if keeper == sold.keeper_id:
        return True
    return is_steward(keeper, sold, now) and not share_a_collection(keeper, by)


def may_arbitrate(keeper: UUID, dispute: Dispute, by: UUID, now: datetime) -> bool:
    """Whether they may be named: as somebody who sees the animal whole, with no share in it or
    part in a sale of it, and apart from whoever records the finding."""
    if is_steward(keeper, dispute.animal.collection, now) or share_a_collection(keeper, by):
        return False
    return _is_without_interest(keeper, dispute, now)


def _is_without_interest(keeper: UUID, dispute: Dispute, now: datetime) -> bool:
    """Whether they see the animal whole, neither keep it nor have part in a sale of it. Grants that
    whoever recorded a finding gave them since it named them do not keep them from answering."""
    animal = dispute.animal
    if sights_of(keeper, [animal.pk], now).get(animal.pk) != "all":
        return False
    if keeper == animal.collection.keeper_id:
        return False
    return keeper not in parties_to_sales([animal.pk])


def possible_arbiters(dispute: Dispute, by: UUID, now: datetime) -> list[UUID]:
    """Whom the keeper of the animal could name: of those whom they let see it, the last few."""
    viewers = [one.to_id for one in grants_given([dispute.animal.collection_id])]
    guests = Call.objects.filter(animal=dispute.animal_id).order_by("-position")
    people = dict.fromkeys([*viewers, *guests.values_list("by", flat=True)])
    return [one for one in list(people)[:SOME] if may_arbitrate(one, dispute, by, now)]


def answers_to(dispute: Dispute, found: Finding) -> dict[Part, FindingAnswer]:
    """The latest of each."""
    rows = FindingAnswer.objects.filter(finding=found).order_by("position")
    return {_part_of(dispute, found, one.by): one for one in rows}


def _part_of(dispute: Dispute, found: Finding, by: UUID) -> Part:
    if by == found.arbiter:
        return "arbiter"
    return "buyer" if dispute.sale and is_buyer_of(dispute.sale, by) else "seller"


@dataclass(frozen=True, slots=True)
class Summary:
    """What every reader is told of a finding. ``recorder``: “keeper”, “seller” or “buyer”, who
    recorded it; ``side``: the other side of the sale; ``answers``: of those who may answer, None
    while they have not; ``set_aside``: the calls that it has set aside, with what others agreed
    to. What agreeing would set aside now (`would_set_aside`) is for those alone who may answer."""

    recorder: str
    side: Side
    outcome: str
    word: str
    answers: dict[Part, bool | None]
    set_aside: tuple[str, ...]

    @property
    def open_to(self) -> list[Part]:
        """Who may still answer."""
        return [part for part, agrees in self.answers.items() if not agrees]


def summary_of(dispute: Dispute, found: Finding, reader: Sale | None = None) -> Summary:
    """``reader``: the sale whose buyer reads it, perhaps of another deal."""
    apart = reader is not None and reader.pk != dispute.sale_id
    given, side = answers_to(dispute, found), other_side(dispute, found.by, found.position)
    answers: dict[Part, bool | None] = {
        part: given[part].agrees if part in given else None
        for part in dict.fromkeys([*_asked(found, side), *given])
    }
    aside = [*found.set_aside, *(call for one in given.values() for call in one.set_aside)]
    recorder = "keeper" if apart else recorder_of(dispute, found)
    others = {"buyer": "other buyer", "seller": "other seller"} if apart else {}
    by = {others.get(part, str(part)): agrees for part, agrees in answers.items()}
    return Summary(
        recorder=recorder,
        side=side,
        outcome=outcome_in_words(found.outcome, len(aside), len({*found.proposed} - {*aside})),
        word=on_whose_word(recorder, found.basis, by),
        answers=answers,
        set_aside=tuple(aside),
    )


def _asked(found: Finding, side: Side) -> Iterator[Part]:
    if found.arbiter is not None:
        yield "arbiter"
    if side is not None:
        yield side


def recorder_of(dispute: Dispute, found: Finding) -> str:
    sale = dispute.sale
    if sale is None:
        return "keeper"
    parts = {sale.buyer.keeper_id: "buyer", sale.collection.keeper_id: "seller"}
    return parts.get(found.by, "keeper")
