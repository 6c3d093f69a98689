"""What others say of a call that is its sender's word: whom it names, who read its document,
who saw the young. Each has the animal assessed anew."""

from collections.abc import Collection
from typing import Any, cast
from uuid import UUID

from django.db.models import Case, Exists, OuterRef, Q, QuerySet, When

from scalewitness.animals.models import Animal, Custody
from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.animals.queries import stewarded_ids
from scalewitness.animals.queries.joining import ever_of
from scalewitness.animals.queries.partners import share_a_collection
from scalewitness.calls import services
from scalewitness.calls.models import Call
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.reports import (
    STATEMENTS,
    last_answer,
    report_of,
    stated_by,
)
from scalewitness.calls.queries.visibility import animal_open, kept_from, reader_of
from scalewitness.domain.errors import NotAllowed, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import (
    DocumentRead,
    Footing,
    ReportAnswered,
    ReportStands,
    WitnessStated,
    WitnessWithdrawn,
)
from scalewitness.domain.observations import Conclusion
from scalewitness.domain.reports import (
    Spoken,
    after_answer,
    after_statement,
    is_of_clutch,
)
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.confirming import footing_left, without
from scalewitness.intake.newcomers import contradicts
from scalewitness.intake.submission import Sealed
from scalewitness.letters.reports import notify_of_answer
from scalewitness.people.models import PractitionerAddress
from scalewitness.people.queries import address_of, deceivers_among, has_proved, verified_keeper
from scalewitness.sales.queries import is_party_at, party_to
from scalewitness.sales.queries.practices import is_proved


def report_answered(fact: Sealed, batch: Batch) -> int:
    """By whoever the report names, who may think again. It confirms only where the operator
    entered their address, or two keepers confirmed their account; else it is recorded and the
    report stays the sender's word."""
    body = cast(ReportAnswered, fact.body)
    call = _call_on(body.call, fact.about)
    address = _asked(call, batch.actor)
    if address is None:
        raise NotFound()
    _check_whom_it_names(call, address.email, batch)
    last = last_answer(call)
    if last is not None and last.answer == body.answer:
        raise NotNow("They have answered so already.")
    proved = is_proved(address, batch.actor.keeper, call)
    stands = after_answer(_spoken_of(call), body.answer, proved=proved)
    position = _store(fact, call, stands, batch, proved=proved)
    if body.answer == "denied" or last is not None:
        notify_of_answer(call, fact.id, body.answer, batch.letters)
    return position


def document_read(fact: Sealed, batch: Batch) -> int:
    body = cast(DocumentRead, fact.body)
    call = _for_somebody_else(body.call, fact, batch)
    stands = after_statement(_spoken_of(call))
    if call.body.get("document") != body.document:
        raise OutOfRange("This call names no such document.", pointer="/body/document")
    return _store(fact, call, stands, batch)


def witness_stated(fact: Sealed, batch: Batch) -> int:
    body = cast(WitnessStated, fact.body)
    call = _for_somebody_else(body.call, fact, batch)
    stands = after_statement(_spoken_of(call))
    if call.method != "reproduction":
        raise OutOfRange("Only eggs, slugs or young have witnesses.", pointer="/body/call")
    if body.young is not None:
        _check_registered(UUID(body.young), call, batch)
    return _store(fact, call, stands, batch)


def witness_withdrawn(fact: Sealed, batch: Batch) -> int:
    """All that the actor stated of the call, also once they no longer see the animal: it corrects
    the record. What the others said of it stands."""
    call = _call_on(cast(WitnessWithdrawn, fact.body).call, fact.about)
    keeper = batch.actor.keeper
    if keeper is None or not call.attestations.filter(by=keeper, kind__in=STATEMENTS).exists():
        raise NotFound()
    if not stated_by(call, keeper):
        raise NotNow("You have withdrawn it already.")
    return _store(fact, call, without(call, keeper), batch)


def _call_on(call_id: str, animal: UUID) -> Call:
    call = call_of(UUID(call_id))
    if call is None or call.animal_id != animal:
        raise NotFound()
    return call


def _asked(call: Call, actor: Actor) -> PractitionerAddress | None:
    """The address at which whom the call names is asked, if the actor is them."""
    address = None if call.role == "keeper" else address_of(call.examiner)
    if address is None or actor.practitioner == call.examiner:
        return address
    proved = actor.keeper is not None and has_proved(actor.keeper, address.email)
    return address if proved else None


def _check_whom_it_names(call: Call, email: str, batch: Batch) -> None:
    """Also by their link: whoever has an account or bought the animal at that address is them.
    Who is still to check it without knowing does that first."""
    account = verified_keeper(email)
    keeper = batch.actor.keeper or (account.pk if account else None)
    if keeper is not None:
        if call.animal_id in kept_from(reader_of(keeper, batch.now)):
            raise NotFound()
        check_apart(call, keeper, batch)
    if is_party_at(email, call.animal_id):
        raise NotAllowed("Whoever has or had a share in this animal cannot confirm it.")


def _for_somebody_else(call_id: str, fact: Sealed, batch: Batch) -> Call:
    """The call, if the actor sees the animal whole, has no share in it and is new to this."""
    if batch.actor.keeper is None:
        raise NotFound()
    animal_open(batch.actor.keeper, fact.about, batch.now)
    call = _call_on(call_id, fact.about)
    check_apart(call, batch.actor.keeper, batch)
    if any(one.kind == fact.kind for one in stated_by(call, batch.actor.keeper)):
        raise NotNow("You have said so already.")
    return call


def check_apart(call: Call, keeper: UUID, batch: Batch) -> None:
    """Nobody confirms what they, or those they keep animals with, sent or gain by."""
    if share_a_collection(keeper, call.by):
        raise NotAllowed("Whoever sent this call, or keeps animals with them, cannot confirm it.")
    if has_share(keeper, call.animal_id, stewarded_ids(keeper, batch.now)):
        raise NotAllowed("Whoever has or had a share in this animal cannot confirm it.")


def has_share(keeper: UUID, animal: UUID, holds: Collection[UUID]) -> bool:
    """Whether they have or had a share in it, or in another record that is or was taken for the
    same snake's: as `intake.ties` has it of whoever calls on it. ``holds``: the collections that
    are theirs, or in which they are partners. So too of an animal that is none."""
    kept = Custody.objects.filter(animal=OuterRef("pk"), came_from__in=_rooms(keeper))
    rows = Animal.objects.filter(pk__in=ever_of(animal)).annotate(
        shared=Case(
            When(Q(collection__in=holds) | Exists(kept) | Exists(party_to(keeper)), then=True),
            default=False,
        )
    )
    found = dict(rows.values_list("pk", "shared"))
    return animal not in found or any(found.values())


def _rooms(keeper: UUID) -> "QuerySet[AnimalCollection, Any]":
    return AnimalCollection.objects.filter(keeper=keeper).values("pk")


def _check_registered(young: UUID, call: Call, batch: Batch) -> None:
    """It is on record as this animal's, hatched when such eggs do, and the actor may see it and
    gains nothing by it either."""
    keeper = cast(UUID, batch.actor.keeper)
    seen = animal_open(keeper, young, batch.now)
    if seen.dam != call.animal_id:
        raise OutOfRange("It is not registered as this animal's young.", pointer="/body/young")
    if not is_of_clutch(seen.hatched, call.examined_at.date()):
        raise OutOfRange("It did not hatch from what this call saw.", pointer="/body/young")
    if has_share(keeper, young, stewarded_ids(keeper, batch.now)):
        raise NotAllowed("Whoever has or had a share in the young cannot confirm it.")


def _spoken_of(call: Call) -> Spoken:
    report = report_of(call)
    if report == "own":
        raise NotNow("This call is its examiner's own; there is nothing to confirm.")
    if call.over:
        raise NotNow("This call no longer counts.")
    return report


def _store(fact: Sealed, call: Call, stands: Spoken, batch: Batch, *, proved: bool = False) -> int:
    """``proved``: whom it names confirmed it from an address proved independently of its sender."""
    behind = stands == "confirmed"
    footing = _footing_behind(fact, call, batch, proved=proved) if behind else None
    report = ReportStands(call=str(call.pk), report=stands, footing=footing)
    logged = batch.log(fact)
    services.store_attestation(logged, fact.kind, report)
    answered = footing not in {None, "none"} and _contradicts(call, batch)
    batch.touch(call.animal_id, fact.id, fact.kind, report=report, answered=answered)
    return logged.position


def _contradicts(call: Call, batch: Batch) -> bool:
    subject = batch.known.of(call.animal_id)
    return subject is not None and contradicts(subject, cast(Conclusion, call.conclusion))


def _footing_behind(fact: Sealed, call: Call, batch: Batch, *, proved: bool) -> Footing | None:
    """The best behind the confirmation: what it had, unless that was withdrawn, or this one's; None
    of one from before that was asked, which counts as it did."""
    if proved:
        return "practitioner"
    if fact.kind == "witness_withdrawn":
        return footing_left(call, {batch.actor.keeper})
    last = call.attestations.order_by("-position").first()
    if last is not None and last.report == "confirmed" and last.footing != "none":
        return cast(Footing, last.footing) if last.footing else None
    if fact.kind == "report_answered" or call.by in batch.known.one_with(call.animal_id):
        return "none"
    if fact.kind == "document_read" and deceivers_among([call.by]):
        return "none"
    return batch.known.footing
