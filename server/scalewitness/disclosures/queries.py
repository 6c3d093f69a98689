"""Reading disclosures."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import is_steward
from scalewitness.calls.queries.held import late_checks_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.consequences import ClaimReliance, Reliance
from scalewitness.domain.errors import NotFound
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import deal_ended
from scalewitness.standings.queries.dossier import Dossier, dossier


def disclosures_in(sales: QuerySet[Sale]) -> list[Disclosure]:
    """Disclosures owed in these sales, newest first."""
    return list(
        Disclosure.objects.filter(sale__in=sales.values("pk"))
        .select_related("sale__buyer", "animal", "acknowledgement", "to")
        .prefetch_related("animal__identifiers", "animal__custody")
        .order_by("-position")
    )


def disclosures_to(keeper: UUID) -> list[Disclosure]:
    """Disclosures owed to the keeper as a buyer, newest first."""
    return list(
        Disclosure.objects.filter(to__keeper=keeper)
        .select_related("sale__collection__keeper", "animal", "acknowledgement", "to")
        .prefetch_related("animal__identifiers", "animal__custody")
        .order_by("-position")
    )


def disclosures_to_buyer(buyer: UUID) -> list[Disclosure]:
    """Disclosures owed to the buyer of one sale, newest first."""
    return list(
        Disclosure.objects.filter(to=buyer)
        .select_related("sale__collection__keeper", "animal", "acknowledgement", "to")
        .prefetch_related("animal__identifiers", "animal__custody")
        .order_by("-position")
    )


def disclosure_of(disclosure: UUID) -> Disclosure | None:
    return (
        Disclosure.objects.select_related("sale__collection", "animal", "acknowledgement", "to")
        .filter(pk=disclosure)
        .first()
    )


def disclosure_seen(keeper: UUID, disclosure: UUID, now: datetime) -> tuple[Disclosure, bool]:
    """A disclosure, and whether the keeper is on the seller's side of it.

    Raises:
        NotFound: there is none, or the keeper is neither seller, partner nor buyer.
    """
    found = disclosure_of(disclosure)
    if found is None:
        raise NotFound()
    selling = is_steward(keeper, found.sale.collection, now)
    if not selling and found.to.keeper_id != keeper:
        raise NotFound()
    return found, selling


def last_disclosed(sales: Collection[UUID], animal: UUID) -> dict[UUID, Reliance]:
    """By sale, what the buyer last heard of the verified sex they relied on."""
    of_sex = Disclosure.objects.filter(sale__in=list(sales), animal=animal, claim=None)
    rows = of_sex.order_by("position")
    last = dict(rows.values_list("sale", "change"))
    return {sale: _standing_represented(last.get(sale)) for sale in sales}


def last_disclosed_of_claim(sales: Collection[UUID], claim: UUID) -> dict[UUID, ClaimReliance]:
    """By sale, what the buyer last heard of a claim that they relied on."""
    rows = Disclosure.objects.filter(sale__in=list(sales), claim=claim).order_by("position")
    last = dict(rows.values_list("sale", "change"))
    heard = {"fell": "fell", "withdrawn": "withdrawn"}
    return {sale: heard.get(last.get(sale, ""), "stands") for sale in sales}  # type: ignore[misc]


def _standing_represented(change: str | None) -> Reliance:
    if change is None or change == "restored":
        return "stands"
    return "fell" if change == "fell" else "reversed"


def unacknowledged() -> int:
    """How many disclosures nobody has acknowledged yet."""
    return Disclosure.objects.filter(acknowledgement=None).count()


@dataclass(frozen=True, slots=True)
class ReadableByBuyer:
    """How much of an animal's record is for the buyer of one sale. ``until``: the log position at
    which the deal ended, None while it goes on; ``causes``: of what was disclosed since."""

    until: int | None
    causes: frozenset[UUID]
    disclosed_at: int

    @property
    def at(self) -> int | None:
        """The newest state of the record that is theirs to read; None: as it is now."""
        return None if self.until is None else max(self.until - 1, self.disclosed_at)

    def has(self, position: int, *facts: UUID | None) -> bool:
        """Whether they may read a fact at that position, or one about such a cause."""
        return self.until is None or position < self.until or not self.causes.isdisjoint(facts)


def readable_by_buyer(animal: Animal, sale: Sale) -> ReadableByBuyer:
    """The evidence of their own deal, and the later news that they are owed: what later keepers
    record is not for them, unless they keep it themselves."""
    owed = list(sale.disclosures.filter(animal=animal, claim=None))
    last = max((one.position for one in owed), default=-1)
    keeps = sale.buyer.keeper_id == animal.collection.keeper_id
    end = None if keeps else deal_ended(animal, sale)
    return ReadableByBuyer(end, frozenset(one.cause for one in owed), last)


def case_for_buyer(animal: Animal, sale: Sale, theirs: ReadableByBuyer | None = None) -> Dossier:
    """All that the buyer of the sale may read of the animal's sex; ``theirs``: as
    :func:`readable_by_buyer` has it, where that was asked for."""
    theirs = theirs or readable_by_buyer(animal, sale)
    case = dossier(animal, theirs.at)
    return replace(
        case,
        calls=tuple(one for one in case.calls if theirs.has(one.call.position, one.call.pk)),
        photos=tuple(one for one in case.photos if theirs.has(one.position, one.call)),
        late=case.late if theirs.until is None else late_checks_of(animal.pk, theirs.until),
    )
