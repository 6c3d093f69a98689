"""Two accounts that a finding names as one person's: both may object before they count as one
examiner of that animal. It limits what is verified, and nothing else.

A finding's words may name people; the log may not. So the operator, who reads them, puts on record
that two accounts are meant, and only of a finding that somebody else than who recorded it agreed
to: who has an interest sets nothing by themselves.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animals_of
from scalewitness.calls.models import Attestation, Call
from scalewitness.disputes.models import Finding
from scalewitness.disputes.queries.assent import answers_to
from scalewitness.domain.errors import NotNow, OutOfRange
from scalewitness.domain.facts import OnePersonFound
from scalewitness.intake.batch import Batch
from scalewitness.intake.confirming import reopen
from scalewitness.intake.one_person import commitment
from scalewitness.intake.reassessing import RECORD, each_in_turns
from scalewitness.letters.one_person import informed_at, notify_of_answer, notify_of_naming
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import NamedAsOne
from scalewitness.people.services import store_one_person

OBJECT_WITHIN: Final = timedelta(days=14)
"""From when both letters left, as for a return (our judgement)."""
CAUSE: Final = "one_person_found"


def find_one_person(finding: UUID, one: UUID, other: UUID, now: datetime) -> NamedAsOne:
    """The operator's, after a finding that says so. Both get a letter; `count_named` does the rest.

    Raises:
        OutOfRange: no such finding, nobody else agreed to it, one of the accounts did not speak of
            the animal, or both are on record for it already.
    """
    first, second = sorted((one, other))
    found = Finding.objects.filter(pk=finding).select_related("dispute__animal__collection").first()
    if found is None or not all(_spoke_of(found.dispute.animal, who) for who in (first, second)):
        raise OutOfRange("No such finding is about an animal that both of these accounts spoke of.")
    if not any(answer.agrees for answer in answers_to(found.dispute, found).values()):
        raise OutOfRange("Nobody but the keeper who recorded this finding has agreed to it.")
    animal = found.dispute.animal
    known = NamedAsOne.objects.filter(animal=animal.pk, first=first, second=second)
    if first == second or known.exists():
        raise OutOfRange("These accounts are on record for this animal already.")
    with transaction.atomic():
        batch = Batch(RECORD, now)
        accounts = commitment(animal.pk, finding, (first, second))
        body = OnePersonFound(finding=str(finding), accounts=accounts)
        made = store_one_person(batch.state(CAUSE, animal.pk, body), first, second)
        notify_of_naming(made, animal, now + OBJECT_WITHIN, batch.letters)
        batch.flush()
    mail.wake()
    return made


def _spoke_of(animal: Animal, keeper: UUID) -> bool:
    """They made a call on it, stated something of one, or keep it."""
    if animal.collection.keeper_id == keeper:
        return True
    stated = Attestation.objects.filter(by=keeper, call__animal=animal)
    return stated.exists() or Call.objects.filter(by=keeper, animal=animal).exists()


def reject_objection(named: UUID, now: datetime) -> None:
    """The operator's, who heard both: they are one person all the same.

    Raises:
        NotNow: neither objected, or it was answered.
    """
    open_ones = NamedAsOne.objects.filter(pk=named, heard_at=None, lifted_at=None)
    if not open_ones.exclude(objected_at=None).update(heard_at=now):
        raise NotNow("There is no such objection to answer.")
    _tell(NamedAsOne.objects.get(pk=named), now, right=False)
    count_named(now)


def waiting_objections() -> list[NamedAsOne]:
    """That nobody answered yet, oldest first."""
    open_ones = NamedAsOne.objects.filter(heard_at=None, lifted_at=None)
    return list(open_ones.exclude(objected_at=None).order_by("position"))


def count_named(now: datetime) -> int:
    """Have those count as one examiner who had their days to object and did not, or not rightly;
    how many pairs. One that fails keeps no other waiting; its fault is raised after the others."""
    pending = NamedAsOne.objects.filter(counts_from=None, lifted_at=None)
    heard = pending.filter(Q(objected_at=None) | ~Q(heard_at=None)).order_by("position")
    due = {one.pk: one for one in heard if _had_their_days(one, now)}

    def count(pair: UUID, batch: Batch) -> None:
        open_one = pending.filter(Q(objected_at=None) | ~Q(heard_at=None), pk=pair)
        if open_one.update(counts_from=now):
            named = due[pair]
            assess(named, batch, joined=_later_calls(named))

    fault = each_in_turns(list(due), now, count)
    if fault is not None:
        raise fault
    return len(due)


def _had_their_days(named: NamedAsOne, now: datetime) -> bool:
    """A letter that came back starts them too: a dead address is no way out, and they may object
    at any time after. While a mail host is away nothing begins."""
    informed = informed_at(named)
    return informed is not None and informed + OBJECT_WITHIN <= now


def _later_calls(named: NamedAsOne) -> list[str]:
    """Of the two, whoever keeps the animal or spoke first counts; the calls of the other do not
    agree with anybody. Those that count as another's anyway stay as they are."""
    pair = {named.first_id, named.second_id}
    calls = Call.objects.filter(animal=named.animal, by__in=pair).order_by("position")
    holder = animals_of([named.animal])[named.animal].collection.keeper_id
    first = holder if holder in pair else next((one.by for one in calls), None)
    new = calls.filter(by__in=pair - {first}, one_with="", joined=None, parted=None)
    return [str(one.pk) for one in new]


def lift_naming(one: UUID, other: UUID, now: datetime) -> list[NamedAsOne]:
    """An objection is right: wherever findings named the two as one, they do no more. All of
    these, also where that had been lifted before."""
    first, second = sorted((one, other))
    pairs = NamedAsOne.objects.filter(first=first, second=second)
    for named in pairs.filter(lifted_at=None).order_by("position"):
        pairs.filter(pk=named.pk).update(lifted_at=now)
        _tell(named, now, right=True)
    return list(pairs)


def assess(
    named: NamedAsOne, batch: Batch, joined: Iterable[str] = (), parted: Iterable[str] = ()
) -> None:
    """The animal anew, and what one of the two confirmed of the other's."""
    pair = (named.first_id, named.second_id)
    spoken = Attestation.objects.filter(by__in=pair, call__by__in=pair, report="confirmed")
    calls = Call.objects.filter(pk__in=spoken.filter(call__animal=named.animal).values("call"))
    open_ones = calls.filter(withdrawal=None, set_aside=None, refiled=None)
    for call in open_ones.order_by("position"):
        reopen(call, named.pk, CAUSE, batch)
    batch.touch(named.animal, named.pk, CAUSE, joined=joined, parted=parted)


def _tell(named: NamedAsOne, now: datetime, *, right: bool) -> None:
    with transaction.atomic():
        batch = Batch(RECORD, now)
        notify_of_answer(
            named, animals_of([named.animal])[named.animal], batch.letters, right=right
        )
    mail.wake()
