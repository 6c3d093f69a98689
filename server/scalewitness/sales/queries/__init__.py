"""Reading sales: state is always the fold of the logged steps."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, cast
from uuid import UUID

import msgspec
from django.core.signing import BadSignature
from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, When

from scalewitness.animals.models import Animal, Collection, Custody, Identifier
from scalewitness.animals.queries import stewarded
from scalewitness.domain.errors import LinkGone
from scalewitness.domain.facts import OfferMade
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sales import PROMISED, UNPAID, WHY_RELEASED, Progress, State, Step, fold
from scalewitness.ledger.queries.prepared import Prepared, any_of
from scalewitness.mail.services.links import link_of
from scalewitness.sales.models import Buyer, OfferLink, Sale, SaleAnimal, SaleStep
from scalewitness.sales.queries.returns import came_back

AWAITED: frozenset[State] = UNPAID | {"draft", "paid"}
"""A buyer waits for the animal."""


def sale_of(sale: UUID) -> Sale | None:
    return Sale.objects.select_related("collection", "buyer").filter(pk=sale).first()


def animals_sold(sale: UUID) -> list[UUID]:
    """The animals of a sale; none where there is no such sale."""
    return list(SaleAnimal.objects.filter(sale=sale).values_list("animal", flat=True))


def sales_seen(keeper: UUID, now: datetime) -> QuerySet[Sale]:
    """Sales from collections the keeper holds or is a partner in, newest first."""
    return (
        Sale.objects.filter(collection__in=stewarded(keeper, now))
        .select_related("collection", "buyer")
        .prefetch_related("steps", "animals__identifiers", "animals__custody")
        .order_by("-drafted_at", "-pk")
    )


def still_there(animal: Animal, sale: Sale) -> bool:
    """Whether the animal is in the collection it was offered from: then it has the name that
    the buyer was told, else perhaps one that is not for the parties to this sale."""
    return animal.collection_id == sale.collection_id


def names_then(sold: Iterable[tuple[Sale, Animal]]) -> dict[tuple[UUID, UUID], str]:
    """By animal and collection, of those that have left since: what each was called last in the
    collection it was offered from."""
    gone = [(one, sale.collection_id) for sale, one in sold if not still_there(one, sale)]
    if not gone:
        return {}
    rows = (
        Animal.history.filter(
            id__in=[one.pk for one, _ in gone], collection__in=[room for _, room in gone]
        )
        .order_by("id", "collection", "-history_id")
        .distinct("id", "collection")
    )
    return {(one, room): name for one, room, name in rows.values_list("id", "collection", "name")}


def deal_ended(animal: Animal, sale: Sale) -> int | None:
    """The log position at which it left the collection that it was offered from, or at which its
    buyer released it; None while it is there for them. What comes later is not for the parties
    to this sale."""
    offer = offer_in_force(sale)
    since = offer.position if offer else -1
    left = (
        move.position
        for move in animal.custody.all()
        if move.came_from == sale.collection_id and move.position > since
    )
    released = (step.position for step in sale.steps.all() if step.kind == "release_agreed")
    return min((*left, *released), default=None)


def codes_known(animal: Animal, sale: Sale) -> list[Identifier]:
    """The codes it had until the deal ended, in the order given."""
    end = deal_ended(animal, sale)
    codes = (one for one in animal.identifiers.all() if end is None or one.position < end)
    return sorted(codes, key=lambda one: one.position)


def progress_of(sale: Sale) -> Progress:
    return fold(Step(str(step.pk), step.kind, step.body.get("reason")) for step in sale.steps.all())


def sales_of_animal(animal: UUID) -> list[Sale]:
    """Every sale the animal was ever in, in the order drafted."""
    return list(
        Sale.objects.filter(animals=animal)
        .select_related("buyer", "collection__keeper")
        .prefetch_related("steps", "animals__identifiers", "animals__custody")
        .order_by("drafted_at", "pk")
    )


def animals_in_sales(animals: Iterable[UUID]) -> set[UUID]:
    """Those of the animals that were ever in a sale."""
    rows = SaleAnimal.objects.filter(animal__in=list(animals))
    return set(rows.values_list("animal", flat=True))


def sales_with_steps(animal: UUID) -> list[Sale]:
    """The same, with what happened in each and whose it is, and nothing else."""
    rows = Sale.objects.filter(animals=animal).select_related("collection")
    return list(rows.prefetch_related("steps").order_by("drafted_at", "pk"))


def in_other_sales(sale: Sale) -> set[UUID]:
    """Its animals that were in another sale too, of whatever state: hardly any are."""
    animals = SaleAnimal.objects.filter(sale=sale).values("animal")
    others = SaleAnimal.objects.filter(animal__in=animals).exclude(sale=sale)
    return set(others.values_list("animal", flat=True))


def offer_in_force(sale: Sale) -> SaleStep | None:
    """The latest offer, whether or not the sale has since gone on."""
    offers = [step for step in sale.steps.all() if step.kind == "offer_made"]
    return offers[-1] if offers else None


def confirmed_without_day(sale: Sale) -> bool:
    """Whether its buyer confirmed the offer in force before there was a digest: they were shown no
    day by which the payment must be recorded, and there is none."""
    last, offer = _last(sale, "sale_confirmed"), offer_in_force(sale)
    if last is None or offer is None or last.position < offer.position:
        return False
    return last.body.get("shown") is None


def pay_until(sale: Sale) -> datetime | None:
    """By when the payment of a confirmed sale must be recorded."""
    last, offer = _last(sale, "sale_confirmed"), offer_in_force(sale)
    if progress_of(sale).state != "confirmed" or last is None or offer is None:
        return None
    if confirmed_without_day(sale):
        return None
    return last.at + timedelta(days=msgspec.convert(offer.body, OfferMade).days_to_pay)


def ran_out(sale: Sale, now: datetime) -> bool:
    """Whether nobody confirmed the offer in time, or nobody recorded the payment."""
    state, offer = progress_of(sale).state, offer_in_force(sale)
    if offer is not None and state == "offered":
        return parse_moment(offer.body["expires"]) <= now
    until = pay_until(sale)
    return until is not None and until <= now


def promised(animal: Animal, now: datetime, but: UUID | None = None) -> Sale | None:
    """The sale, if any, by which the animal is to go to its buyer and nobody else: confirmed,
    paid or handed over, and neither in a collection of the buyer's since nor back."""
    for sale in sales_of_animal(animal.pk):
        confirmed = _last(sale, "sale_confirmed")
        if sale.pk == but or confirmed is None or progress_of(sale).state not in PROMISED:
            continue
        if not (_reached(sale, animal, confirmed.position) or came_back(sale, animal, now)):
            return sale
    return None


def _last(sale: Sale, kind: str) -> SaleStep | None:
    return next((step for step in reversed(sale.steps.all()) if step.kind == kind), None)


def _reached(sale: Sale, animal: Animal, since: int) -> bool:
    """Whether it has been in a collection of the buyer's."""
    theirs = Collection.objects.filter(keeper=sale.buyer.keeper_id)
    moves = Custody.objects.filter(animal=animal, position__gt=since)
    return sale.buyer.keeper_id is not None and moves.filter(went_to__in=theirs).exists()


def purchases_of(keeper: UUID) -> QuerySet[Buyer]:
    """As whom they bought, each time."""
    return Buyer.objects.filter(keeper=keeper).order_by("pk")


def same_buyer(one: Sale, other: Sale) -> bool:
    """Whether both are sales to the same person: each draft makes a buyer of its own."""
    keeper = one.buyer.keeper_id
    same_keeper = keeper is not None and keeper == other.buyer.keeper_id
    return same_keeper or one.buyer.email.casefold() == other.buyer.email.casefold()


@dataclass(frozen=True, slots=True)
class Release:
    """That a seller asked the buyer of a paid sale to release it. ``id``: of the fact."""

    id: UUID
    at: datetime
    position: int
    why: str
    agreed: bool
    denied: bool

    @property
    def in_words(self) -> str:
        why = WHY_RELEASED[self.why]
        if self.agreed:
            return f"as seller and buyer both say, {why}; the animals may go to others"
        answer = "the buyer denies that" if self.denied else "the buyer has not answered yet"
        return f"the seller says that {why}; {answer}, so the animals stay promised to them"


def last_release(sale: Sale) -> Release | None:
    """What the seller asked for last, and what the buyer made of it."""
    asked = _last(sale, "release_asked")
    if asked is None:
        return None
    answers = {step.kind for step in sale.steps.all() if step.body.get("asked") == str(asked.pk)}
    agreed = "release_agreed" in answers
    denied = "release_denied" in answers
    return Release(asked.pk, asked.at, asked.position, asked.body["why"], agreed, denied)


def readdressed_by_seller(sale: Sale) -> bool:
    """Whether the buyer's letters go where the seller said, since they confirmed."""
    last = _last(sale, "sale_confirmed")
    changes = sale.buyer.address_changes.filter(by__isnull=False)
    return last is not None and changes.filter(at__gte=last.at).exists()


def link_behind(token: str, now: datetime) -> OfferLink:
    """The live link a token opens.

    Raises:
        LinkGone: forged, unknown, expired or revoked; one answer for all.
    """
    try:
        link_id = link_of(token)
    except BadSignature:
        raise LinkGone() from None
    link = (
        OfferLink.objects.select_related("sale__buyer", "sale__collection__keeper")
        .filter(pk=link_id, revoked_at=None, expires_at__gt=now)
        .first()
    )
    if link is None:
        raise LinkGone()
    return link


def changes_lately(buyer: Buyer, now: datetime) -> int:
    """How often the buyer's letters were sent elsewhere within the hour."""
    return buyer.address_changes.filter(at__gt=now - timedelta(hours=1)).count()


def is_party_at(email: str, animal: UUID) -> bool:
    """Whether it was ever to be sold to whoever has this address."""
    bought = SaleAnimal.objects.filter(animal=animal, sale__buyer__email__iexact=email)
    return bought.exists()


def animals_on_sale(animals: Iterable[UUID]) -> frozenset[UUID]:
    """Those of the animals a buyer is waiting for: in a sale that is not handed over yet."""
    states = states_of_sales(animals)
    return frozenset(animal for animal, found in states.items() if AWAITED.intersection(found))


def offered_to(keeper: UUID) -> frozenset[UUID]:
    """Animals of others that are to go to the keeper as the buyer: offered, confirmed or paid, and
    not held."""
    bought = Sale.objects.filter(buyer__keeper=keeper).exclude(collection__keeper=keeper)
    found = bought.prefetch_related("steps", "animals")
    return frozenset(
        animal.pk
        for sale in found
        if (progress := progress_of(sale)).state in AWAITED - {"draft"} and not progress.held
        for animal in sale.animals.all()
    )


def states_of_sales(animals: Iterable[UUID]) -> dict[UUID, list[State]]:
    """The state of every sale that each of the animals was ever in."""
    found: dict[UUID, list[State]] = {animal: [] for animal in animals}
    sales = Sale.objects.filter(animals__in=list(found)).distinct()
    for sale in sales.prefetch_related("steps", "animals"):
        state = progress_of(sale).state
        for animal in sale.animals.all():
            if animal.pk in found:
                found[animal.pk].append(state)
    return found


def parties_to_sales(animals: Iterable[UUID]) -> dict[UUID, set[str]]:
    """By keeper, which of the animals they ever offered or were offered. A draft tells its buyer
    nothing, and makes nobody whom its seller fears as an examiner a party."""
    found: dict[UUID, set[str]] = {}
    for animal, seller, buyer in PARTIES.ask(animals=list(animals)):
        for party in filter(None, (seller, buyer)):
            found.setdefault(party, set()).add(str(animal))
    return found


def party_to(keeper: UUID) -> QuerySet[SaleAnimal]:
    """Sales of an outer query's animal that the keeper is a party to, as `parties_to_sales`."""
    offered = Exists(SaleStep.objects.filter(sale=OuterRef("sale")))
    bought = Q(offered, sale__buyer__keeper=keeper)
    sold = Q(sale__collection__keeper=keeper)
    return SaleAnimal.objects.filter(sold | bought, animal=OuterRef("pk"))


def _parties(animals: Any) -> QuerySet[SaleAnimal, Any]:
    rows: Any = any_of(SaleAnimal.objects.all(), '"sales_saleanimal"."animal_id"', animals)
    offered = Exists(SaleStep.objects.filter(sale=OuterRef("sale")))
    buyer = Case(When(offered, then=F("sale__buyer__keeper")))
    found = rows.annotate(buyer=buyer).values_list("animal", "sale__collection__keeper", "buyer")
    return cast("QuerySet[SaleAnimal, Any]", found)


PARTIES = Prepared(_parties, animals=(UUID(int=1),))
