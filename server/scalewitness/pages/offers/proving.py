"""What the buyer's pages show, for the buyer's own browser to hold to the log."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.urls import reverse

from scalewitness.disclosures.queries import readable_by_buyer
from scalewitness.pages.parts.proving import (
    CALLS,
    Proving,
    Shown,
    all_of,
    deal_of,
    disclosure_shown,
    late_of,
    represented,
    species_of,
    standing_of,
)
from scalewitness.sales.models import Sale

View = Mapping[str, Any]


def of_offer(token: str, sale: Sale, seen: int, animals: Sequence[View]) -> Proving:
    """``animals``: as `animal.animal_view` has them."""
    return _proving(token, seen, sale, _offered(animals))


def of_disclosures(
    token: str, sale: Sale, seen: int, owed: Sequence[View], now: Sequence[View]
) -> Proving:
    """``owed`` and ``now``: as the page shows them."""
    return _proving(token, seen, sale, _disclosed(owed, now, sale))


def _proving(token: str, seen: int, sale: Sale, shown: Iterator[Shown]) -> Proving:
    address = reverse("api:offer-proofs", args=[token])
    return Proving(address, seen, [*deal_of(sale), *shown], codes=False)


def _offered(animals: Sequence[View]) -> Iterator[Shown]:
    for one in animals:
        yield from late_of(one["title"], one["id"], one["theirs"].has)
        yield all_of(one["title"], one["id"], (*CALLS, "photo_attached"))
        yield species_of(one["title"], one["id"], one["taxon"].key)
        yield standing_of(one["title"], one["id"], one["case"].standing)
        if one["was_fact"]:
            yield represented(one["title"], one["id"], one["was"])


def _late(title: str, animal: UUID, sale: Sale) -> list[Shown]:
    (row,) = (one for one in sale.animals.all() if one.pk == animal)
    return late_of(title, animal, readable_by_buyer(row, sale).has)


def _disclosed(owed: Sequence[View], now: Sequence[View], sale: Sale) -> Iterator[Shown]:
    """The calls behind the newest disclosure are shown, and so must be all there are."""
    for one in owed:
        yield from disclosure_shown(one["owed"])
    for one in owed[:1]:
        yield all_of(one["title"], one["owed"].animal_id, CALLS)
        yield from _late(one["title"], one["owed"].animal_id, sale)
    for one in now if not owed else ():
        yield standing_of(one["title"], one["id"], one["standing"])
        yield from _late(one["title"], one["id"], sale)
