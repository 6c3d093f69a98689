"""Reading disputes."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Literal
from uuid import UUID

from django.db.models import Exists, FloatField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Abs, Cast, Coalesce

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import is_steward, stewarded_ids
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.pairings import animals_paired
from scalewitness.breeding.queries.uses import informed_by_use
from scalewitness.calls.queries.visibility import sights_of, visible_animals
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute, Statement
from scalewitness.disputes.queries.seats import WITH_PARTIES, purchase_in
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sales import RELIED_ON, UNPAID
from scalewitness.planning.candidates import AtStake
from scalewitness.sales.models import Sale, SaleAnimal
from scalewitness.sales.queries import animals_on_sale, parties_to_sales, states_of_sales
from scalewitness.sales.queries.practices import would_count
from scalewitness.standings.models import Standing

Seat = Literal["whole", "seller"]


def dispute_of(dispute: UUID) -> Dispute | None:
    return Dispute.objects.select_related(*WITH_PARTIES).filter(pk=dispute).first()


def open_disputes_on(animal: UUID) -> QuerySet[Dispute]:
    """There is one at most."""
    return Dispute.objects.filter(animal=animal, finding=None).order_by("position")


def open_dispute_on(animal: UUID) -> Dispute | None:
    return open_disputes_on(animal).first()


def disputes_seen(keeper: UUID, now: datetime) -> list[tuple[Dispute, Seat]]:
    """Disputes as :func:`dispute_for` gives them; open ones first, then the newest."""
    sold = Q(sale__collection__in=stewarded_ids(keeper, now))
    seen = visible_animals(keeper, now).order_by()
    rows = (
        Dispute.objects.filter(Q(animal__in=seen.values("pk")) | sold)
        .select_related("animal", "sale__buyer", "finding")
        .prefetch_related("animal__identifiers", "animal__custody", "sale__steps")
        .order_by("-position")
    )
    sights = sights_of(keeper, {one.animal_id for one in rows}, now)
    found: list[tuple[Dispute, Seat]] = [
        (one, "whole" if one.animal_id in sights else "seller")
        for one in rows
        if sights.get(one.animal_id) != "blind"
    ]
    return sorted(found, key=lambda pair: hasattr(pair[0], "finding"))


def dispute_for(keeper: UUID, dispute: UUID, now: datetime) -> tuple[Dispute, Seat]:
    """A dispute and how its reader is placed: who may see the animal whole sees everything;
    who sold it and may not see it any more, what the parties state and the finding.

    Raises:
        NotFound: neither, or there is none; a blind guest is told nothing.
    """
    found = dispute_of(dispute)
    if found is None:
        raise NotFound()
    sight = sights_of(keeper, [found.animal_id], now).get(found.animal_id)
    if sight == "all":
        return found, "whole"
    if sight is None and found.sale and is_steward(keeper, found.sale.collection, now):
        return found, "seller"
    raise NotFound()


def bought_in(keeper: UUID, dispute: UUID, now: datetime) -> tuple[Dispute, Sale]:
    """A dispute, and the purchase by which its reader, who may not see the animal, has a seat.

    Raises:
        NotFound: they have none, or there is no such dispute; a blind guest is told nothing.
    """
    found = dispute_of(dispute)
    sale = purchase_in(found, keeper, now) if found else None
    if found is None or sale is None or sights_of(keeper, [found.animal_id], now):
        raise NotFound()
    return found, sale


def statements_in(dispute: UUID) -> list[Statement]:
    """In log order."""
    return list(Statement.objects.filter(dispute=dispute).order_by("position"))


@dataclass(frozen=True, slots=True, order=True)
class Hanging:
    """What hangs on the sex of an animal, by its weight: buyers who wait, buyers who rely on
    it, disclosures that nobody has acknowledged, planned pairings, and young on record of which it
    is a parent."""

    waiting: int = 0
    relying: int = 0
    unacknowledged: int = 0
    pairings: int = 0
    young: int = 0


def hanging_on(animals: Iterable[UUID]) -> dict[UUID, Hanging]:
    """For each of the animals."""
    wanted = set(animals)
    states = states_of_sales(wanted)
    open_ones = Disclosure.objects.filter(animal__in=wanted, acknowledgement=None)
    unread = Counter(open_ones.values_list("animal", flat=True))
    paired = animals_paired(wanted)
    parents = Animal.objects.filter(Q(sire__in=wanted) | Q(dam__in=wanted))
    young = Counter(one for pair in parents.values_list("sire", "dam") for one in pair)
    return {
        one: Hanging(
            waiting=sum(state in UNPAID for state in states[one]),
            relying=sum(state in RELIED_ON for state in states[one]),
            unacknowledged=unread[one],
            pairings=paired[one],
            young=young[one],
        )
        for one in wanted
    }


def by_need(collection: Collection) -> QuerySet[Animal]:
    """The collection's animals in the order in which to look for checks worth making: those that
    may be touched, then those with something at stake, then those whose sex is least certain.
    Planning weighs a page of them at a time; it alone says what is worth doing."""
    of_it = {"animal": OuterRef("pk")}
    latest = Standing.objects.filter(**of_it).order_by("-position").values("p_male")[:1]
    planned = Pairing.objects.filter(end=None)
    staked = (
        Exists(Dispute.objects.filter(finding=None, **of_it))
        | Exists(planned.filter(sire=OuterRef("pk")) | planned.filter(dam=OuterRef("pk")))
        | Exists(SaleAnimal.objects.filter(**of_it).exclude(sale__steps__kind__in=OVER))
    )
    certain = Abs(Coalesce(Cast(Subquery(latest), FloatField()), 0.5) - 0.5)
    here = Animal.objects.filter(collection=collection, ended="")
    rows = here.alias(staked=staked, certain=certain)
    return rows.order_by("hold_off", "-staked", "certain", "pk")


OVER = ("handed_over", "sale_closed")
"""Steps after which nobody waits for the animals of a sale."""


def at_stake(animals: Iterable[UUID], now: datetime) -> AtStake:
    """What hangs on the sex of each of these animals."""
    wanted = list(animals)
    disputed = Dispute.objects.filter(animal__in=wanted, finding=None)
    return AtStake(
        on_sale=animals_on_sale(wanted),
        disputed=frozenset(disputed.values_list("animal", flat=True)),
        paired=animals_paired(wanted).keys(),
        parties=parties_to_sales(wanted),
        informed=partial(informed_by_use, animals=wanted, now=now),
        confirmed=would_count,
    )
