"""Visits: the host invites, the guest answers, either may call it off."""

from collections.abc import Sequence
from datetime import datetime
from typing import cast
from uuid import UUID

from scalewitness.animals.models import ON_SHEET, Collection, Identifier
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
from scalewitness.visits.queries import is_by_letter, state_of, visit_of


def visit_invited(fact: Sealed, batch: Batch) -> int:
    body = cast(VisitInvited, fact.body)
    collection = hosted(UUID(body.collection), batch.actor.keeper, batch.now)
    check_unused(fact.about, batch)
    check_guest(UUID(body.guest), collection, "/body/guest")
    if is_partner(UUID(body.guest), collection.pk, batch.now, waiting=True):
        raise OutOfRange("A partner needs no visit.", pointer="/body/guest")
    check_sheet(collection, body)
    logged = batch.log(fact)
    visit = services.store_invitation(logged)
    if not is_by_letter(visit.pk):
        send_invitation(visit, batch.letters)
    return logged.position


def hosted(collection: UUID, host: UUID | None, now: datetime) -> Collection:
    """The collection, if the host may invite to it."""
    found = collection_of(collection)
    if found is None or not is_steward(host, found, now):
        raise NotFound("You hold no such collection.", pointer="/body/collection")
    return found


def check_sheet(collection: Collection, body: VisitInvited) -> None:
    """The animals are there, and can be told apart by whoever is not shown their names."""
    check_animals(collection, body.animals, "/body/animals")
    if body.blind:
        _check_have_codes(body.animals)


def _check_have_codes(animals: Sequence[str]) -> None:
    """Names stay hidden on a blind sheet, so each animal needs a code to go by."""
    found = Identifier.objects.filter(
        animal__in=[UUID(animal) for animal in animals], scheme__in=ON_SHEET
    ).values_list("animal", flat=True)
    marked = set(found)
    bare = [index for index, animal in enumerate(animals) if UUID(animal) not in marked]
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
