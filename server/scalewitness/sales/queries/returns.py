"""What was said of animals that came back from their sale."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.animals.models import Animal, Collection, Custody
from scalewitness.domain.erasure import is_erased
from scalewitness.domain.returns import (
    AGAIN_IN_WORDS,
    BACK,
    RETURNED_IN_WORDS,
    ReturnState,
    return_state,
)
from scalewitness.ledger.queries.entries import entries_of, leaf_of
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import letters_for
from scalewitness.sales.models import Sale


@dataclass(frozen=True, slots=True)
class Return:
    """That an animal came back from its sale. ``id``: of the move; ``at``: when the record took
    that in; ``denied_before``: as said of this animal and sale."""

    id: UUID
    sale: UUID
    animal: Animal
    at: datetime
    position: int
    state: ReturnState
    denied_before: bool

    @property
    def in_words(self) -> str:
        if self.state == "waiting" and self.denied_before:
            return AGAIN_IN_WORDS
        return RETURNED_IN_WORDS[self.state]


def returns_of(sale: Sale, now: datetime, animal: UUID | None = None) -> list[Return]:
    """What was said of its animals, or of one, coming back from the sale, in log order."""
    animals = sale.animals.all() if animal is None else sale.animals.filter(pk=animal)
    found = _returns(Custody.objects.filter(animal__in=animals), now)
    return [one for one in found if one.sale == sale.pk]


def last_return(animal: UUID, now: datetime) -> Return | None:
    """What was last said of the animal coming back from a sale, of whichever sale."""
    found = _returns(Custody.objects.filter(animal=animal), now)
    return found[-1] if found else None


def last_return_among(
    moves: Iterable[Custody], sales: Iterable[Sale], now: datetime
) -> Return | None:
    """The same of the animal whose ``moves`` and ``sales`` are all that there were."""
    back = [one for one in moves if one.why == "returned"]
    found = _as_returns(back, {str(one.pk): one for one in sales}, now)
    return found[-1] if found else None


def came_back(sale: Sale, animal: Animal, now: datetime) -> bool:
    """Whether it came back from the sale, and its buyer says so or does not deny it."""
    return any(one.state in BACK for one in returns_of(sale, now, animal.pk))


def _returns(moves: QuerySet[Custody], now: datetime) -> list[Return]:
    back = moves.filter(why="returned").select_related("animal").order_by("position")
    return _as_returns(list(back), None, now)


def _as_returns(
    moves: Sequence[Custody], sales: Mapping[str, Sale] | None, now: datetime
) -> list[Return]:
    if not moves:
        return []
    entries = entries_of(one.pk for one in moves)
    bodies = {one.pk: leaf_of(entries[one.pk]).body for one in moves}
    if sales is None:
        sales = _with_seller(body["sale"] for body in bodies.values() if body.get("sale"))
    keepers = {one.collection_id: one.collection.keeper_id for one in sales.values()}
    keepers |= _keepers_of({one.came_from for one in moves} - keepers.keys())
    letters, found, denied = letters_for(bodies), [], set[tuple[UUID, UUID]]()
    for move in moves:
        sale = sales.get(str(bodies[move.pk].get("sale")))
        if sale is None:
            continue
        at, of = entries[move.pk].received_at, (sale.pk, move.animal_id)
        state = return_state(
            by_seller=keepers.get(move.came_from) == sale.collection.keeper_id,
            answer=_answer(sale, move.pk),
            denied_before=of in denied,
            informed_at=_informed_at(letters.get(move.pk, []), at),
            now=now,
        )
        found.append(Return(move.pk, sale.pk, move.animal, at, move.position, state, of in denied))
        if state == "denied":
            denied.add(of)
    return found


def _with_seller(sales: Iterable[str]) -> dict[str, Sale]:
    found = Sale.objects.filter(pk__in=list(sales)).select_related("collection")
    return {str(one.pk): one for one in found.prefetch_related("steps")}


def _keepers_of(collections: Iterable[UUID]) -> dict[UUID, UUID]:
    there = Collection.objects.filter(pk__in=collections)
    return dict(there.values_list("pk", "keeper"))


def _answer(sale: Sale, move: UUID) -> str | None:
    answers = (step.body for step in sale.steps.all() if step.kind == "return_answered")
    return next((one["answer"] for one in answers if one["move"] == str(move)), None)


def _informed_at(letters: Iterable[Letter], claimed_at: datetime) -> datetime | None:
    """When the letter left. Of a return from before buyers were written to, and of a buyer
    whose address was erased, when it was said."""
    letter = next((one for one in letters if one.kind == "return_claimed"), None)
    if letter is None or is_erased(letter.to):
        return claimed_at
    return letter.sent_at if letter.state == Letter.State.SENT else None
