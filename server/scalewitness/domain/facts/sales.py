"""Sales and disclosures."""

from typing import Annotated, Literal

from msgspec import Meta

from scalewitness.domain.facts.shapes import (
    Body,
    Commitment,
    Id,
    Label,
    Moment,
    Position,
    Sha256,
    Share,
    TransponderCode,
)
from scalewitness.domain.sales import DAYS_TO_PAY


class Representation(Body, frozen=True):
    """One animal's standing as the seller offers on it."""

    animal: Id
    label: Label
    p_male: Share
    p_male_pessimistic: Share
    position: Position


class RepresentedClaim(Body, frozen=True):
    """What somebody ``stated`` of a trait of the animal, as the seller offers on it."""

    animal: Id
    stated: Id


class OfferMade(Body, frozen=True):
    """About a sale. The agreed remedy if the sex proves wrong is part of the offer, and so are
    the days from the confirmation within which the payment must be recorded."""

    collection: Id
    buyer: Id
    represents: Annotated[tuple[Representation, ...], Meta(min_length=1, max_length=50)]
    recheck_days: Annotated[int, Meta(ge=0, le=365)]
    remedy: Literal["refund", "exchange", "refund_or_exchange", "to_be_agreed", "none"]
    expires: Moment
    days_to_pay: Annotated[int, Meta(ge=1, le=90)] = DAYS_TO_PAY
    claims: Annotated[tuple[RepresentedClaim, ...], Meta(max_length=200)] = ()
    note: Commitment | None = None


class OfferWithdrawn(Body, frozen=True):
    note: Commitment | None = None


class OfferDeclined(Body, frozen=True):
    note: Commitment | None = None


class OfferLapsed(Body, frozen=True):
    """Nobody confirmed it in time, or nobody recorded the payment."""


class AnimalAsShown(Body, frozen=True):
    """One animal as an offer showed it: ``version`` of its record, which has its name, and the
    probabilities."""

    animal: Id
    version: Annotated[int, Meta(ge=1, le=2**53 - 1)]
    p_male: Share
    p_male_pessimistic: Share


class WhatWasShown(Body, frozen=True):
    """``digest``: of the offer, its terms, and of each animal its codes, species, hatching date,
    traits, label and represented claims. The probabilities stand beside it, as they may drift."""

    digest: Sha256
    animals: Annotated[tuple[AnimalAsShown, ...], Meta(min_length=1, max_length=50)]


class SaleConfirmed(Body, frozen=True):
    """The buyer confirms what they were shown: the offer, the log position, and what it came
    to. Confirmations from before there was a digest have none."""

    offer: Id
    seen: Position
    shown: WhatWasShown | None = None
    statement: Commitment | None = None


class CheckRequested(Body, frozen=True):
    note: Commitment | None = None


class SaleHeld(Body, frozen=True):
    reason: Literal[
        "standing_fell",
        "standing_reversed",
        "standing_changed",
        "contrary_call_waits",
        "dispute",
        "animal_ended",
        "claim_fell",
        "claim_withdrawn",
    ]
    animal: Id
    cause: Id


class PaymentRecorded(Body, frozen=True):
    note: Commitment | None = None


class ReleaseAsked(Body, frozen=True):
    """About a paid sale. The seller says what became of the payment, and asks its buyer to
    release the animals."""

    why: Literal["recorded_by_mistake", "paid_back"]
    note: Commitment | None = None


class ReleaseAgreed(Body, frozen=True):
    """The buyer says that it is as the seller says, and that the animals may go to others.
    ``asked``: the fact that asked for it."""

    asked: Id
    note: Commitment | None = None


class ReleaseDenied(Body, frozen=True):
    """The buyer says that it is not so; they may still agree."""

    asked: Id
    note: Commitment | None = None


class HandedOver(Body, frozen=True):
    pass


class ArrivalCompared(Body, frozen=True):
    """About a sale that is paid. The buyer says whether the animal that arrived is the one that
    was sold. ``read``: the transponder read from it, 15 digits; ``photo``: the one on record that
    they held it against."""

    animal: Id
    answer: Literal["same", "another", "cannot_tell"]
    read: TransponderCode | None = None
    photo: Id | None = None
    note: Commitment | None = None


class SaleClosed(Body, frozen=True):
    pass


class ReturnAnswered(Body, frozen=True):
    """About a sale. The buyer says of a move back to the seller, which the seller stated,
    whether they returned the animal."""

    move: Id
    answer: Literal["confirmed", "denied"]
    note: Commitment | None = None


class ClaimNow(Body, frozen=True):
    """What became of what was ``stated``. ``chance``: of a claim that fell."""

    stated: Id
    chance: Share | None = None


class DisclosureOwed(Body, frozen=True):
    """Notice owed to someone who relied on a verified sex: both versions, side by side. ``claim``:
    it is about a represented claim instead; the two versions tell of the sex all the same."""

    sale: Id
    animal: Id
    to: Id
    cause: Id
    change: Literal["fell", "reversed", "restored", "withdrawn"]
    was: Representation
    now: Representation
    claim: ClaimNow | None = None


class DisclosureAcknowledged(Body, frozen=True):
    pass


BODIES: dict[str, type[Body]] = {
    "offer_made": OfferMade,
    "offer_withdrawn": OfferWithdrawn,
    "offer_declined": OfferDeclined,
    "offer_lapsed": OfferLapsed,
    "sale_confirmed": SaleConfirmed,
    "check_requested": CheckRequested,
    "sale_held": SaleHeld,
    "payment_recorded": PaymentRecorded,
    "release_asked": ReleaseAsked,
    "release_agreed": ReleaseAgreed,
    "release_denied": ReleaseDenied,
    "handed_over": HandedOver,
    "arrival_compared": ArrivalCompared,
    "sale_closed": SaleClosed,
    "return_answered": ReturnAnswered,
    "disclosure_owed": DisclosureOwed,
    "disclosure_acknowledged": DisclosureAcknowledged,
}
