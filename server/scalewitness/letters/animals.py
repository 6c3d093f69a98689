"""Letters about an animal to those whom it concerns."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.queries.grants import partners_of
from scalewitness.breeding.models import Pairing
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.consequences import Affected
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


def notify_of_pairings(
    animal: Animal,
    standing: UUID,
    affected: Iterable[tuple[Pairing, Affected]],
    moved: dict[str, Any],
    owing: Owing,
) -> None:
    """Holders and partners of both animals, one letter each for all pairings they are part of.
    Of an animal that they may not see they hear only that its sex is no longer what they
    planned on; whoever is still to check it blind hears nothing."""
    notified: dict[UUID, tuple[Keeper, list[tuple[Pairing, Affected]]]] = {}
    for pairing, change in affected:
        both = [*stewards(pairing.sire, owing), *stewards(pairing.dam, owing)]
        for keeper in {one.pk: one for one in both}.values():
            notified.setdefault(keeper.pk, (keeper, []))[1].append((pairing, change))
    for keeper, own in notified.values():
        mates = {mate_of(pairing, animal).pk for pairing, _ in own}
        sights = sights_of(keeper.pk, {animal.pk, *mates}, owing.now)
        if sights.get(animal.pk) != "blind":
            owing.owe(
                "pairing_affected",
                cause=standing,
                recipient=keeper.pk,
                to=keeper.email,
                context={
                    "to_name": keeper.name,
                    "animal": describe(animal) if animal.pk in sights else None,
                    **(moved if animal.pk in sights else {}),
                    "pairings": [_affected(*one, animal, sights) for one in own],
                    "plans": _plans_of(keeper, [pairing for pairing, _ in own], owing),
                },
                about=f"pairings of {animal.pk}",
            )


def _plans_of(keeper: Keeper, pairings: Iterable[Pairing], owing: Owing) -> list[dict[str, Any]]:
    """The seasons of the reader's own collections that they are part of."""
    found = {
        (pairing.season, str(one.collection_id))
        for pairing in pairings
        for one in (pairing.sire, pairing.dam)
        if keeper.pk in {each.pk for each in stewards(one, owing)}
    }
    return [{"season": season, "collection": room} for season, room in sorted(found)]


def mate_of(pairing: Pairing, animal: Animal) -> Animal:
    """The other animal of a pairing."""
    return pairing.dam if pairing.sire_id == animal.pk else pairing.sire


def _affected(
    pairing: Pairing, change: Affected, animal: Animal, sights: Mapping[UUID, str]
) -> dict[str, Any]:
    mate = mate_of(pairing, animal)
    return {
        "mate": describe(mate) if sights.get(mate.pk) == "all" else None,
        "season": pairing.season,
        "sex": change.sex,
        "change": change.change,
    }


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
