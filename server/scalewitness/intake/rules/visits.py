"""Visits: the host invites, the guest answers, either may call it off."""

from typing import cast
from uuid import UUID

from scalewitness.animals.models import ON_SHEET, Identifier
from scalewitness.animals.queries import collection_of, is_steward
from scalewitness.animals.queries.grants import is_partner
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import VisitInvited
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.ids import check_unused
from scalewitness.intake.rules.people import check_animals, check_guest
from scalewitness.intake.submission import Sealed
from scalewitness.letters.visits import send_invitation
from scalewitness.visits import services
from scalewitness.visits.models import Visit
from scalewitness.visits.queries import state_of, visit_of


def visit_invited(fact: Sealed, batch: Batch) -> int:
    body = cast(VisitInvited, fact.body)
    collection = collection_of(UUID(body.collection))
    if collection is None or not is_steward(batch.actor.keeper, collection, batch.now):
        raise NotFound("You hold no such collection.", pointer="/body/collection")
    check_unused(fact.about, batch)
    check_guest(UUID(body.guest), collection, "/body/guest")
    if is_partner(UUID(body.guest), collection.pk, batch.now, waiting=True):
        raise OutOfRange("A partner needs no visit.", pointer="/body/guest")
    check_animals(collection, body.animals, "/body/animals")
    if body.blind:
        _check_have_codes(body.animals)
    logged = batch.log(fact)
    send_invitation(services.store_invitation(logged), batch.letters)
    return logged.position


def _check_have_codes(animals: tuple[str, ...]) -> None:
    """Names stay hidden on a blind sheet, so each animal needs a code to go by."""
    marked = Identifier.objects.filter(
        animal__in=[UUID(animal) for animal in animals], scheme__in=ON_SHEET
    ).values_list("animal", flat=True)
    bare = [index for index, animal in enumerate(animals) if UUID(animal) not in set(marked)]
    if bare:
        raise OutOfRange(
            "On a blind visit names are hidden: give this animal a tag or transponder first.",
            pointer=f"/body/animals/{bare[0]}",
        )


def visit_accepted(fact: Sealed, batch: Batch) -> int:
    return _answer(fact, batch)


def visit_declined(fact: Sealed, batch: Batch) -> int:
    return _answer(fact, batch)


def _answer(fact: Sealed, batch: Batch) -> int:
    visit = visit_of(fact.about)
    if visit is None or visit.guest_id != batch.actor.keeper:
        raise NotFound()
    _expect(visit, {"invited"}, batch)
    logged = batch.log(fact)
    services.store_answer(visit, fact.kind, logged)
    return logged.position


def visit_cancelled(fact: Sealed, batch: Batch) -> int:
    visit = visit_of(fact.about)
    if visit is None or not is_steward(batch.actor.keeper, visit.collection, batch.now):
        raise NotFound()
    state = _expect(visit, {"invited", "accepted", "open"}, batch)
    logged = batch.log(fact)
    services.store_cancellation(visit, logged, accepted=state != "invited")
    return logged.position


def _expect(visit: Visit, states: set[str], batch: Batch) -> str:
    state = state_of(visit, batch.now)
    if state not in states:
        raise NotNow(f"The visit is {state}.")
    return state
