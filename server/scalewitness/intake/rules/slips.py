"""An animal registered in error: taken out of everything but the log, while nobody can have relied
on it yet.

Nothing that was stated is lost by it, so there is no time within which it must be done.
"""

from collections.abc import Iterator, Set
from typing import Any, Final
from uuid import UUID

from django.db.models import Q, QuerySet

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Joining
from scalewitness.animals.queries import animal_of, is_steward
from scalewitness.animals.queries.slips import slip_of
from scalewitness.animals.queries.transponders import also_on
from scalewitness.breeding.models import Pairing
from scalewitness.calls.models import Attestation, HeldCall
from scalewitness.calls.queries.bearing import known_elsewhere, numbers_shared, other_bearer
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import NotNow
from scalewitness.domain.fact_words import in_words
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.animals import stewarded
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.letters.transponders import notify_of_move
from scalewitness.people.models import GrantAnimal
from scalewitness.sales.models import SaleAnimal
from scalewitness.visits.models import VisitAnimal

MAY_STAND: Final = frozenset(
    {
        "animal_registered",
        "particulars_corrected",
        "identifier_assigned",
        "identifier_withdrawn",
        "standing_changed",
    }
)
"""Kinds of which an animal may have facts and be taken out all the same: what it is said to be, by
which codes it goes, and what the record makes of that. After any other somebody may rely on it."""
INSTEAD: Final = (
    "It stays on record. Correct its particulars, or withdraw its codes; or state that it died or "
    "is lost."
)


def registered_in_error(fact: Sealed, batch: Batch) -> int:
    """By whoever keeps it or is a partner, whoever registered it."""
    animal = stewarded(fact.about, batch)
    if reason := _in_the_way(animal.pk, batch.kinds_about(animal.pk)):
        raise NotNow(f"{reason} {INSTEAD}")
    alike = also_on(animal.pk)
    bearers = {code: other_bearer(animal.pk, code) for code in numbers_shared(animal.pk)}
    before = known_elsewhere(alike)
    logged = batch.log(fact)
    services.store_in_error(animal, logged)
    batch.recount_broods(fact, animal.sire)
    for one in sorted(before ^ known_elsewhere(alike)):
        batch.touch(one, fact.id, fact.kind)
    for number, bearer in bearers.items():
        other = animal_of(bearer) if bearer else None
        notify_of_move(number, other, "withdrawn", fact.id, batch.letters)
    return logged.position


def _in_the_way(animal: UUID, pending: Set[str]) -> str:
    """What else is on record of the animal, or ``pending``, in a sentence; empty where there is
    nothing."""
    if pending - MAY_STAND:
        return "More was stated of it just now."
    stated = Entry.objects.filter(about=animal).exclude(kind__in=MAY_STAND).order_by("position")
    first = stated.first()
    if first is not None:
        return f"More was stated of it: {in_words(first.kind, leaf_of(first).body)}"
    return next((words for words, named in _naming(animal) if named.exists()), "")


def _naming(animal: UUID) -> Iterator[tuple[str, QuerySet[Any]]]:
    """What may name it without being about it."""
    either = Q(sire=animal) | Q(dam=animal)
    yield "Another animal has it as a parent.", Animal.objects.filter(either)
    yield "A pairing with it was planned.", Pairing.objects.filter(either)
    yield "It is on the sheet of a visit.", VisitAnimal.objects.filter(animal=animal)
    yield "Somebody was given access to it.", GrantAnimal.objects.filter(animal=animal)
    yield "It is in a sale, if only drafted.", SaleAnimal.objects.filter(animal=animal)
    yield "A call of it waits for a decision.", HeldCall.objects.filter(animal=animal)
    yield "Another record is said to be of it too.", Joining.objects.filter(other=animal)
    yield "A witness stated to have seen it.", Attestation.objects.filter(young=animal)
    yield "There is a dispute about it.", Dispute.objects.filter(animal=animal)


def refuse_of_a_slip(about: UUID, batch: Batch) -> None:
    """Nothing more is stated of it; who keeps it is told why.

    Raises:
        NotNow: it is one of theirs that was registered in error.
    """
    animal = slip_of(about)
    if animal is not None and is_steward(batch.actor.keeper, animal.collection, batch.now):
        raise NotNow(
            "This animal was registered in error, by its keeper's word, and nothing more is stated "
            "of it. If there is one all the same, register it anew."
        )
