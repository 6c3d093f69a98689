"""Sales as their seller sees them."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

import msgspec
from django.utils import timezone
from msgspec import Meta, Struct

from scalewitness.api.shapes import words
from scalewitness.api.shapes.animals import AnimalNamed, animals_named
from scalewitness.api.shapes.arrivals import ArrivalShown, arrivals
from scalewitness.api.shapes.letters import LetterShown, letters
from scalewitness.api.shapes.people import CollectionNamed
from scalewitness.api.shapes.releases import ReleaseShown, release
from scalewitness.api.shapes.returns import ReturnShown, returns
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.facts import OfferMade, Representation
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import letters_for
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import offer_in_force, progress_of
from scalewitness.sales.queries.arrivals import arrivals_of
from scalewitness.sales.queries.returns import returns_of

Held = Annotated[list[str], Meta(description="Why the sale is held; empty when it is not.")]


class BuyerShown(Struct, frozen=True):
    """``keeper``: their account, when the address is one's verified one."""

    id: UUID
    name: str
    email: str
    keeper: UUID | None


class SaleListed(Struct, frozen=True):
    id: UUID
    collection: UUID
    state: words.SaleState
    held: Held
    buyer: str
    animals: list[UUID]
    drafted_at: datetime


class Sales(Struct, frozen=True):
    """``next``: the cursor of the next part, None at the end."""

    items: list[SaleListed]
    next: str | None


class StepShown(Struct, frozen=True):
    """``by``: ``seller``, ``buyer`` or ``record``. ``text``: what they wrote beside it."""

    id: UUID
    position: int
    kind: str
    by: str
    at: datetime
    text: str | None


class OfferShown(Struct, frozen=True):
    """The latest offer: what it represents, until when, and the agreed remedy."""

    id: UUID
    position: int
    at: datetime
    represents: tuple[Representation, ...]
    recheck_days: int
    remedy: str
    days_to_pay: int
    expires: str
    note: str | None


class SaleShown(Struct, frozen=True):
    id: UUID
    collection: CollectionNamed
    state: words.SaleState
    held: Held
    buyer: BuyerShown
    animals: list[AnimalNamed]
    drafted_at: datetime
    offer: OfferShown | None
    steps: list[StepShown]
    arrivals: list[ArrivalShown]
    returns: list[ReturnShown]
    release: ReleaseShown | None
    letters: list[LetterShown]


def listed(sale: Sale) -> SaleListed:
    progress = progress_of(sale)
    return SaleListed(
        id=sale.pk,
        collection=sale.collection_id,
        state=progress.state,
        held=list(progress.held),
        buyer=sale.buyer.name,
        animals=sorted(animal.pk for animal in sale.animals.all()),
        drafted_at=sale.drafted_at,
    )


def sale(one: Sale) -> SaleShown:
    progress, steps = progress_of(one), list(one.steps.all())
    texts = texts_of(step.pk for step in steps)
    buyer = one.buyer
    return SaleShown(
        id=one.pk,
        collection=CollectionNamed(one.collection_id, one.collection.name),
        state=progress.state,
        held=list(progress.held),
        buyer=BuyerShown(buyer.pk, buyer.name, buyer.email, buyer.keeper_id),
        animals=animals_named(one.animals.order_by("pk"), holder=one.collection_id, sale=one),
        drafted_at=one.drafted_at,
        offer=offer(offer_in_force(one), texts),
        steps=[_step(step, one, texts) for step in steps],
        arrivals=arrivals(arrivals_of(one)),
        returns=returns(returns_of(one, timezone.now())),
        release=release(one),
        letters=_letters(one, steps),
    )


def offer(step: SaleStep | None, texts: dict[tuple[UUID, str], str]) -> OfferShown | None:
    if step is None:
        return None
    body = msgspec.convert(step.body, OfferMade)
    return OfferShown(
        id=step.pk,
        position=step.position,
        at=step.at,
        represents=body.represents,
        recheck_days=body.recheck_days,
        remedy=body.remedy,
        days_to_pay=body.days_to_pay,
        expires=body.expires,
        note=texts.get((step.pk, "note")),
    )


def _step(step: SaleStep, one: Sale, texts: dict[tuple[UUID, str], str]) -> StepShown:
    return StepShown(
        id=step.pk,
        position=step.position,
        kind=step.kind,
        by=_party(step, one),
        at=step.at,
        text=texts.get((step.pk, "note")) or texts.get((step.pk, "statement")),
    )


def _party(step: SaleStep, one: Sale) -> str:
    if step.by is None:
        return "record"
    return "buyer" if step.by in {one.buyer_id, one.buyer.keeper_id} else "seller"


def _letters(one: Sale, steps: list[SaleStep]) -> list[LetterShown]:
    """Letters that a step or a disclosure of this sale caused, to either side."""
    owed = list(Disclosure.objects.filter(sale=one))
    by_cause = letters_for([*(step.pk for step in steps), *(each.pk for each in owed)])
    mine = {one.buyer_id: one.buyer.name, one.collection.keeper_id: one.collection.keeper.name}
    rows = [row for rows in by_cause.values() for row in rows if _of_sale(row, one)]
    return letters(sorted(rows, key=lambda row: (row.created_at, row.pk)), mine)


def _of_sale(letter: Letter, one: Sale) -> bool:
    return bool(letter.context.get("sale") == str(one.pk))
