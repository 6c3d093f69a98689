"""Reading disclosures."""

from uuid import UUID

from django.db.models import QuerySet

from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.consequences import Told
from scalewitness.sales.models import Sale


def disclosures_in(sales: QuerySet[Sale]) -> list[Disclosure]:
    """Disclosures owed in these sales, newest first."""
    return list(
        Disclosure.objects.filter(sale__in=sales.values("pk"))
        .select_related("sale__buyer", "animal", "acknowledgement", "to")
        .order_by("-position")
    )


def disclosures_to(keeper: UUID) -> list[Disclosure]:
    """Disclosures owed to the keeper as a buyer, newest first."""
    return list(
        Disclosure.objects.filter(to__keeper=keeper)
        .select_related("sale__collection__keeper", "animal", "acknowledgement", "to")
        .order_by("-position")
    )


def disclosures_to_buyer(buyer: UUID) -> list[Disclosure]:
    """Disclosures owed to the buyer of one sale, newest first."""
    return list(
        Disclosure.objects.filter(to=buyer)
        .select_related("sale__collection__keeper", "animal", "acknowledgement", "to")
        .order_by("-position")
    )


def disclosure_of(disclosure: UUID) -> Disclosure | None:
    return (
        Disclosure.objects.select_related("sale__collection", "animal", "acknowledgement", "to")
        .filter(pk=disclosure)
        .first()
    )


def last_told(sale: UUID, animal: UUID) -> Told:
    """What the buyer last heard of the verified sex they relied on."""
    last = Disclosure.objects.filter(sale=sale, animal=animal).order_by("-position").first()
    if last is None or last.change == "restored":
        return "stands"
    return "fell" if last.change == "fell" else "reversed"


def unacknowledged() -> int:
    """How many disclosures nobody has acknowledged yet."""
    return Disclosure.objects.filter(acknowledgement=None).count()
