"""Grants: who lets whom see a collection."""

from typing import cast
from uuid import UUID

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import collection_of
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import GrantGiven, GrantRevoked
from scalewitness.intake.batch import Batch
from scalewitness.intake.submission import Sealed
from scalewitness.people import services
from scalewitness.people.queries import grant_of, has_verified_address, keeper_of
from scalewitness.sign_in.services.codes import check_fresh


def grant_given(fact: Sealed, batch: Batch) -> int:
    body = cast(GrantGiven, fact.body)
    collection = own_collection(fact.about, batch)
    if body.role == "partner":
        page = f"/collections/{collection.pk}/grants/new"
        check_fresh(collection.keeper_id, given=batch.actor.proved, path=page)
    check_guest(UUID(body.to), collection, "/body/to")
    if body.animals is not None:
        check_animals(collection, body.animals, "/body/animals")
    logged = batch.log(fact)
    services.store_grant(logged)
    return logged.position


def grant_revoked(fact: Sealed, batch: Batch) -> int:
    body = cast(GrantRevoked, fact.body)
    grant = grant_of(UUID(body.grant))
    if grant is None or grant.collection != fact.about:
        raise NotFound()
    if grant.to_id != batch.actor.keeper:  # a grant may also be given back
        own_collection(fact.about, batch)
    if hasattr(grant, "end"):
        raise NotNow("This grant has already ended.")
    logged = batch.log(fact)
    services.store_revocation(logged)
    return logged.position


def own_collection(collection_id: UUID, batch: Batch) -> Collection:
    """The collection, if the actor is its keeper; partners do not hand out sight of it."""
    collection = collection_of(collection_id)
    if collection is None or collection.keeper_id != batch.actor.keeper:
        raise NotFound()
    return collection


def check_guest(guest: UUID, collection: Collection, pointer: str) -> None:
    """Only a keeper with a verified address can be given access."""
    keeper = keeper_of(guest)
    if keeper is None or not has_verified_address(keeper):
        raise OutOfRange("There is no keeper with a verified address here.", pointer=pointer)
    if guest == collection.keeper_id:
        raise OutOfRange("The collection's own keeper needs no grant.", pointer=pointer)


def check_animals(collection: Collection, animals: tuple[str, ...], pointer: str) -> None:
    wanted = {UUID(animal) for animal in animals}
    here = Animal.objects.filter(collection=collection, pk__in=wanted).count()
    if here != len(wanted):
        raise OutOfRange("Not all of these animals are in this collection.", pointer=pointer)
