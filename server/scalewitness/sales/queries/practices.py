"""Whether an address is a practice's by the word of people who are tied neither to the sender of a
report, nor to who keeps the animal, nor to each other: those whom the operator did not look up."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from functools import cache
from itertools import combinations
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q

from scalewitness.animals import models as herd
from scalewitness.animals.queries import animals_of, homes_of
from scalewitness.animals.queries.joining import ever_joined
from scalewitness.animals.queries.partners import share_a_collection
from scalewitness.calls.models import Call
from scalewitness.domain.reports import Quoted
from scalewitness.people.models import PractitionerAddress
from scalewitness.people.queries import (
    answered_for,
    confirmed_as,
    named_with,
    practice_accounts_of,
    practitioners_asked,
    same_person_as,
)
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import parties_to_sales
from scalewitness.standings.queries.footing import VOUCHERS, may_vouch


def is_proved(address: PractitionerAddress | None, answering: UUID | None, call: Call) -> bool:
    """Whether what comes from there is whom the call names, independently of who sent it: the
    operator entered the address, or two keepers confirmed the account that answers from it."""
    if address is None:
        return False
    if address.entered_by_id is None:
        return True
    return answering is not None and bool(_of_practice(answering, [_quoted(call)]))


def answers_that_count(calls: Sequence[Call], answering: UUID | None) -> set[UUID]:
    """Of calls in somebody's name, those of which their answer is more than the sender's word."""
    entered = practitioners_asked(call.examiner for call in calls)
    found = {call.pk for call in calls if call.examiner in entered}
    if answering is None:
        return found
    counting = _of_practice(answering, {_quoted(call) for call in calls})
    return found | {call.pk for call in calls if _quoted(call) in counting}


def would_count(quoted: Collection[Quoted]) -> set[Quoted]:
    """Of what might be said in the name of practitioners whose address the operator did not
    enter, that of which their answer would be more than the sender's word."""
    accounts = practice_accounts_of({one.practitioner for one in quoted})
    of_account: defaultdict[UUID, set[Quoted]] = defaultdict(set)
    for one in quoted:
        if account := accounts.get(one.practitioner):
            of_account[account].add(one)
    return set[Quoted]().union(*(_of_practice(*each) for each in of_account.items()))


def _quoted(call: Call) -> Quoted:
    return Quoted(call.examiner, call.role, call.by, call.animal_id)


def _of_practice(account: UUID, quoted: Collection[Quoted]) -> set[Quoted]:
    """Those for which two keepers state now that it is such a practice's, whose own word has a
    footing and who have no part in a sale of the animal; of them and the account no two are
    connected, nor is any to the sender or to a keeper that the animal has or had: they gain by it,
    whoever sends it for them."""
    roles = {one.role for one in quoted}
    able = {role: [one for one in confirmed_as(account, role) if may_vouch(one)] for role in roles}
    if not any(able.values()):
        return set()
    gaining, tied = _gaining({one.animal for one in quoted}), cache(connected)

    def counts(one: Quoted) -> bool:
        gain = gaining[one.animal]
        interested = {one.by, *gain.keepers}

        def apart(who: UUID) -> bool:
            return not any(tied(who, other) for other in interested)

        free = [who for who in able[one.role] if who not in gain.parties and apart(who)]
        return apart(account) and any(
            not any(tied(*two) for two in combinations((account, *some), 2))
            for some in combinations(free, VOUCHERS)
        )

    return set(filter(counts, quoted))


class _Gaining(NamedTuple):
    """Who keeps or kept an animal, and who has part in a sale of it."""

    keepers: set[UUID]
    parties: set[UUID]


def _gaining(animals: set[UUID]) -> dict[UUID, _Gaining]:
    """By animal; so too of other records that are or were taken for the same snake's."""
    same = ever_joined(animals)
    every = animals_of(animals.union(*same.values()))
    homes, parties = homes_of(every.values()), parties_to_sales(every)
    inside = {room for rooms in homes.values() for room in rooms}
    whose = dict(herd.Collection.objects.filter(pk__in=inside).values_list("pk", "keeper"))

    def of(animal: UUID) -> _Gaining:
        records = {animal, *same.get(animal, ())} & homes.keys()
        sold = {who for who, which in parties.items() if which & {*map(str, records)}}
        return _Gaining({whose[room] for one in records for room in homes[one]}, sold)

    return {animal: of(animal) for animal in animals}


def connected(one: UUID, other: UUID) -> bool:
    """Whether anything on record ties the two: animals kept together, one key, a finding that they
    are one person, a voucher, or a deal that was offered, at any time. That one was the other's
    guest does not: who checks animals here was somebody's (our judgement)."""
    if share_a_collection(one, other):
        return True
    if other in same_person_as(one).union(*named_with(one).values()):
        return True
    either = Q(collection__keeper=one, buyer__keeper=other)
    either |= Q(collection__keeper=other, buyer__keeper=one)
    return answered_for(one, other) or Sale.objects.filter(either, steps__isnull=False).exists()
