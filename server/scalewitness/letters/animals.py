"""Letters about an animal to those whom it concerns."""

from collections.abc import Collection, Iterable
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.queries.grants import partners_of
from scalewitness.domain.sales import LIVE
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.letters.owing import Owing
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import (
    codes_known,
    names_then,
    progress_of,
    sales_of_animal,
    still_there,
)


class Concerned(NamedTuple):
    """Whom an animal concerns: its keepers, and who ``sold`` it and may not see it any more."""

    keeper: Keeper
    sold: Sale | None = None

    def known(self, animal: Animal) -> dict[str, Any]:
        """What a letter to them calls it, and ``sale``, where they read on if they sold it."""
        if self.sold is None:
            return {"animal": describe(animal)}
        return {"animal": as_sold(animal, self.sold), "sale": str(self.sold.pk)}


def describe(
    animal: Animal, *, named: bool = True, codes: Iterable[Identifier] | None = None
) -> dict[str, Any]:
    """An animal as a letter names it; never its sex. Not ``named``: to whoever the name that
    its keeper calls it by is not for. ``codes``: those its reader knows, where that is not all."""
    known = animal.identifiers.all() if codes is None else codes
    return {
        "name": animal.name if named else "",
        "species": taxon(animal.species).common,
        "scientific": taxon(animal.species).scientific,
        "identifiers": [
            {"scheme": one.scheme, "code": one.code}
            for one in sorted(known, key=lambda one: one.position)
        ],
        "id": str(animal.pk),
    }


def as_sold(animal: Animal, sale: Sale) -> dict[str, Any]:
    """As the parties to a sale know it: by the name that it left with. What later keepers call it,
    and the codes they give it, are not for them."""
    there = still_there(animal, sale)
    known = describe(animal, named=there, codes=codes_known(animal, sale))
    return (
        known if there else known | {"name": next(iter(names_then([(sale, animal)]).values()), "")}
    )


def as_bought(animal: Animal, sale: Sale) -> dict[str, Any]:
    """As the buyer knows it: as their own once they keep it."""
    buyer = sale.buyer.keeper_id
    if buyer is not None and animal.collection.keeper_id == buyer:
        return describe(animal)
    return as_sold(animal, sale)


def concerned(
    animal: Animal, owing: Owing, sales: Collection[Sale] | None = None
) -> list[Concerned]:
    """Holder and partners, and whoever sold the animal in a sale that still stands, by the last
    of those. ``sales``: all that it was ever in, where they have been read already."""
    sales = sales_of_animal(animal.pk) if sales is None else sales
    found = {
        one.collection.keeper_id: Concerned(one.collection.keeper, one)
        for one in sales
        if progress_of(one).state in LIVE
    }
    found |= {keeper.pk: Concerned(keeper) for keeper in stewards(animal, owing)}
    return list(found.values())


def stewards(animal: Animal, owing: Owing) -> list[Keeper]:
    return [animal.collection.keeper, *partners_of(animal.collection_id, owing.now)]


def notify_of_standing(
    readers: Iterable[Concerned],
    animal: Animal,
    standing: UUID,
    moved: dict[str, Any],
    owing: Owing,
) -> None:
    """They hear that a verified standing changed. ``moved``: ``change``, ``was`` and ``now``,
    since which ``position``."""
    context = {**moved, "owed_at": owing.now.isoformat()}
    notify_concerned(
        readers, animal, "standing_notice", standing, context, owing, about=str(animal.pk)
    )


def ask_for_recheck(animal: Animal, call: UUID, label: str, owing: Owing) -> None:
    """Holder and partners hear that a newcomer's contrary call waits: they can have the animal
    checked again. Whoever made it knows."""
    for keeper in stewards(animal, owing):
        if keeper.pk != owing.sender:
            owing.owe(
                "recheck_asked",
                cause=call,
                recipient=keeper.pk,
                to=keeper.email,
                context={"to_name": keeper.name, "animal": describe(animal), "label": label},
                about=str(animal.pk),
            )


def notify_concerned(
    readers: Iterable[Concerned],
    animal: Animal,
    kind: str,
    cause: UUID,
    context: dict[str, Any],
    owing: Owing,
    about: str = "",
) -> None:
    for one in readers:
        owing.owe(
            kind,
            cause=cause,
            recipient=one.keeper.pk,
            to=one.keeper.email,
            context={"to_name": one.keeper.name, **one.known(animal), **context},
            about=about,
        )
