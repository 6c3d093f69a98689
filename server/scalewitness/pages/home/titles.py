"""What the readers of a sale, a dispute or a disclosure know an animal by."""

from collections.abc import Iterable, Mapping
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import Seat
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import codes_known, names_then, still_there

Names = Mapping[tuple[UUID, UUID], str]
"""As `names_then` gives them."""


def title_in(sale: Sale, animal: Animal, names: Names | None = None) -> str:
    """What the parties to a sale know an animal by; once it has left, with its species, as they
    may have sold many since. ``names``: of those that left, where there are many to ask for."""
    title = name_in(sale, animal, names)
    return title if still_there(animal, sale) else f"{title}, {taxon(animal.species).common}"


def name_in(sale: Sale, animal: Animal, names: Names | None = None) -> str:
    """The same without its species, where that is said beside it."""
    codes = codes_known(animal, sale)
    if still_there(animal, sale):
        return title_of(animal, codes=codes)
    then = names_then([(sale, animal)]) if names is None else names
    name = then.get((animal.pk, sale.collection_id))
    return name or title_of(animal, named=False, codes=codes)


def disputed(dispute: Dispute, seat: Seat, names: Names | None = None) -> str:
    """What the reader of a dispute knows its animal by."""
    if seat == "seller" and dispute.sale is not None:
        return title_in(dispute.sale, dispute.animal, names)
    title = title_of(dispute.animal)
    return title if dispute.animal.name else f"{title}, {taxon(dispute.animal.species).common}"


def is_open(disclosure: Disclosure) -> bool:
    return not hasattr(disclosure, "acknowledgement")


def titles_of(animals: Iterable[UUID]) -> dict[UUID, str]:
    """Of many, for whoever sees them whole."""
    rows = Animal.objects.filter(pk__in=list(animals)).prefetch_related("identifiers")
    return {one.pk: title_of(one) for one in rows}
