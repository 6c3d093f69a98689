"""Codes that animals bear: given, and withdrawn where they were given by mistake.

A transponder is in one snake only. Where a number is known already, a record that is given it
later is held to be of the same snake: its keeper and that of the older hear so, and neither learns
anything else of the other. Nothing of the older record changes, whoever types its number.
"""

from typing import cast
from uuid import UUID

import msgspec

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.queries import animal_of
from scalewitness.animals.queries.transponders import number_of
from scalewitness.calls.models import COUNTS, Call
from scalewitness.calls.queries.bearing import bearings, known_elsewhere
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import CallMade, IdentifierAssigned, IdentifierWithdrawn
from scalewitness.domain.identifiers import plain_code
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.animals import stewarded
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.models import Entry
from scalewitness.letters.transponders import notify_of_move, notify_of_number
from scalewitness.sales.queries import promised


def identifier_assigned(fact: Sealed, batch: Batch) -> int:
    holdings, body = batch.known.holdings, cast(IdentifierAssigned, fact.body)
    animal = holdings.animal(fact.about)
    if animal is None or not holdings.keeps(animal.collection_id):
        raise NotFound()
    number = number_of(body.scheme, body.code)
    older = holdings.first_bearer(number, animal.pk) if number else animal.pk
    logged = batch.log(fact)
    batch.keep(Identifier, services.identifier_row(logged))
    if number and older != animal.pk:
        batch.noted[fact.id] = "known_elsewhere"
        batch.store()
        _notify(number, animal, older, fact.id, batch)
        batch.touch(animal.pk, fact.id, fact.kind)
    elif number and (former := animal_of(holdings.former_bearer(number) or animal.pk)) != animal:
        batch.store()
        notify_of_move(number, former, "given", fact.id, batch.letters)
    return logged.position


def _notify(number: str, animal: Animal, older: UUID, cause: UUID, batch: Batch) -> None:
    """Once for each pair of records. The keeper of the older hears of a number once from each
    sender, however many animals that one gives it to."""
    other = animal_of(older)
    ever = Identifier.ever.filter(scheme="transponder", code=number).exclude(pk=cause)
    if other is None or ever.filter(animal=animal).exists():
        return
    given = ever.exclude(animal=other).values("pk")
    again = Entry.objects.filter(fact__in=given, by=batch.actor.by).exists()
    notify_of_number(number, animal, None if again else other, cause, batch.letters)


def identifier_withdrawn(fact: Sealed, batch: Batch) -> int:
    """By keeper and partners, while nobody relies on it: not on a code under which an animal was
    checked by others, or was sold."""
    animal, body = stewarded(fact.about, batch), cast(IdentifierWithdrawn, fact.body)
    code = plain_code(body.scheme, body.code)
    mark = animal.identifiers.filter(scheme=body.scheme, code=code).order_by("position").first()
    if mark is None:
        raise OutOfRange("The animal bears no such code.", pointer="/body/code")
    if promised(animal, batch.now) is not None:
        raise NotNow("Its buyer relies on this code; speak to them.")
    if body.scheme == "transponder" and _was_checked_by(mark, batch):
        raise NotNow(
            "Checks that count were made of this animal under this number, so it stays. If one of "
            "them was of another animal, whoever made it withdraws it first."
        )
    alike = bearings([animal.pk]).get(animal.pk)
    pair = {animal.pk, *(alike.rivals if alike else ())}
    before = known_elsewhere(pair)
    logged = batch.log(fact)
    services.store_identifier_withdrawal(logged)
    for one in sorted(before ^ known_elsewhere(pair)):
        batch.touch(one, fact.id, fact.kind)
    for one in sorted(pair - {animal.pk}):
        notify_of_move(code, animal_of(one), "withdrawn", fact.id, batch.letters)
    return logged.position


def _was_checked_by(mark: Identifier, batch: Batch) -> bool:
    """Whether a check that counts read this number, or is somebody else's and read none."""
    since = Call.objects.filter(COUNTS, animal=mark.animal_id, position__gt=mark.position)
    for call in since:
        read = _number_read(call)
        if read == mark.code or (read is None and call.examiner != batch.actor.keeper):
            return True
    return False


def _number_read(call: Call) -> str | None:
    read = msgspec.convert(call.body, CallMade).identified
    is_number = read.by == "transponder" and read.code is not None
    return plain_code(read.by, cast(str, read.code)) if is_number else None
