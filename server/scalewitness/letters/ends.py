"""Letters about an animal that died, is lost or was stolen, or is there again after all."""

from collections.abc import Collection, Iterable
from typing import Any, Final

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import collection_of, lender_of
from scalewitness.breeding.queries.pairings import planned_with
from scalewitness.calls.queries.visibility import kept_from, reader_of, sights_of
from scalewitness.domain.facts import Body
from scalewitness.domain.sales import LIVE, UNPAID
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import as_sold, concerned, describe, stewards
from scalewitness.letters.owing import Owing
from scalewitness.letters.pairings import mate_of
from scalewitness.letters.sales import notify_buyer
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of, still_there

BECAME: Final = {
    "died": "died",
    "lost": "is lost",
    "stolen": "was stolen",
    "found": "was found again",
    "mistake": "is there: that it was not had been stated by mistake",
}
"""What its keeper says of it, to follow "that it …"."""


def notify_of_end(
    animal: Animal, fact: Logged[Body], why: str, sales: Collection[Sale], owing: Owing
) -> None:
    """Everyone with a share hears of it but its sender: holder, partners, who sold it, who lent
    it, who planned a pairing with it, and buyers who wait for it or had it from there. ``sales``:
    all that it was ever in."""
    about = {"became": BECAME[why], "back": why in {"found", "mistake"}, "at": fact.at.isoformat()}
    readers = {one.keeper.pk: one for one in concerned(animal, owing, sales)}
    for reader in readers.values():
        _tell(reader.keeper, reader.known(animal), fact, about, owing)
    lenders = {one.pk: one for one in _lender(animal) if one.pk not in readers}
    for lender in lenders.values():
        seen = sights_of(lender.pk, [animal.pk], owing.now).get(animal.pk) == "all"
        _tell(lender, _named(animal, seen=seen), fact, about, owing)
    mates = {one.pk: one for one in _mates(animal, owing)}
    for keeper in mates.values():
        if keeper.pk in readers or keeper.pk in lenders:
            continue
        # Whoever is still to check it blind hears nothing: a pairing tells what it is taken for.
        if animal.pk not in kept_from(reader_of(keeper.pk, owing.now)):
            seen = animal.pk in sights_of(keeper.pk, [animal.pk], owing.now)
            named = _named(animal, seen=True) if seen else {"animal": None}
            _tell(keeper, named, fact, about, owing)
    for sale in sales:
        if still_there(animal, sale) and (state := progress_of(sale).state) in LIVE:
            more = {"animal": as_sold(animal, sale), "unpaid": state in UNPAID, **about}
            notify_buyer(sale, "animal_ended_buyer", fact.id, more, owing)


def _named(animal: Animal, *, seen: bool) -> dict[str, Any]:
    """``seen``: they may open its page."""
    return {"animal": describe(animal, named=False), "seen": seen}


def _tell(
    keeper: Keeper,
    named: dict[str, Any],
    fact: Logged[Body],
    about: dict[str, Any],
    owing: Owing,
) -> None:
    if keeper.pk != owing.sender:
        context = {"to_name": keeper.name, **named, **about}
        owing.owe(
            "animal_ended", cause=fact.id, recipient=keeper.pk, to=keeper.email, context=context
        )


def _lender(animal: Animal) -> Iterable[Keeper]:
    lender = lender_of(animal.pk)
    found = collection_of(lender) if lender else None
    return [found.keeper] if found else []


def _mates(animal: Animal, owing: Owing) -> Iterable[Keeper]:
    for pairing in planned_with(animal.pk):
        yield from stewards(mate_of(pairing, animal), owing)
