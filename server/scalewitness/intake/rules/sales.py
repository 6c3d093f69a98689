"""Sales: every step checked against the table in `domain.sales`."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict
from typing import Final, cast
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animals_of, is_steward
from scalewitness.animals.queries.joining import joined
from scalewitness.disclosures.queries import disclosure_of
from scalewitness.disclosures.services import store_acknowledgement
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange, StandingMoved, WrongShape
from scalewitness.domain.facts import OfferMade, Representation, SaleConfirmed, WhatWasShown
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.offer_shown import Moved, ShownOffer, in_words
from scalewitness.domain.sales import MAY, refusal
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.shown import moved_since, shown_now
from scalewitness.intake.submission import Sealed
from scalewitness.letters.sales import Attempt, notify_of_attempt, notify_of_step, send_offer
from scalewitness.sales import services
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import (
    in_other_sales,
    offer_in_force,
    progress_of,
    promised,
    sale_of,
    sales_of_animal,
    same_buyer,
    still_there,
)
from scalewitness.sales.queries.returns import returns_of
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import label_of, latest_standings
from scalewitness.traits.queries import claims_named
from scalewitness.traits.queries.claims import makers_for

NEEDS_CODE = (
    "The seller asked for a code with your confirmation. Have one sent to your address, and "
    "type it in on the page of the offer."
)


TAKEN_AS: Final[Mapping[str, str]] = {
    "confirmed": "confirmed the offer of this animal",
    "paid": "paid for this animal",
    "handed_over": "been given this animal",
    "closed": "been given this animal",
}


BRINGS_A_LINK: Final = frozenset({"payment_recorded", "handed_over"})
"""The offer's own link ends with the offer; on arrival the buyer says what arrived."""


def represent(animals: Iterable[UUID]) -> tuple[Representation, ...]:
    """The standing of each animal as an offer would represent it now."""
    wanted = list(animals)
    standings = latest_standings(wanted)
    return tuple(_representation(animal, standings.get(animal)) for animal in wanted)


def _representation(animal: UUID, standing: Standing | None) -> Representation:
    return msgspec.convert(
        {
            "animal": str(animal),
            "label": label_of(standing),
            "p_male": standing.p_male if standing else "0.500000",
            "p_male_pessimistic": standing.p_male_pessimistic if standing else "0.500000",
            "position": standing.position if standing else 0,
        },
        Representation,
    )


def step(fact: Sealed, batch: Batch) -> int:
    """Any step that needs no more than the right party at the right time."""
    sale = sale_for(fact, batch)
    logged = batch.log(fact)
    services.store_step(sale, fact.kind, logged)
    if fact.kind == "offer_withdrawn":
        services.revoke_links(sale, "offer", batch.now)
    link = None
    if fact.kind in BRINGS_A_LINK:
        link = services.lasting_link(sale, fresh_id(batch.now), batch.now)
    notify_of_step(sale, fact.kind, logged, batch.letters, link)
    return logged.position


def offer_made(fact: Sealed, batch: Batch) -> int:
    """The offer fixes what is represented: it must be what the record says right now."""
    sale = sale_for(fact, batch)
    body = cast(OfferMade, fact.body)
    _check_parties(sale, body)
    animals = sorted(sale.animals.values_list("pk", flat=True))
    _check_free(sale, batch)
    _check_represented(body, represent(animals))
    _check_claims(body, animals)
    logged = batch.log(fact)
    services.store_step(sale, fact.kind, logged)
    services.revoke_links(sale, "offer", batch.now)
    link = services.open_link(
        sale,
        link=fresh_id(batch.now),
        offer=fact.id,
        purpose="offer",
        expires=parse_moment(body.expires),
    )
    send_offer(sale, logged, link, batch.letters)
    return logged.position


def _check_parties(sale: Sale, body: OfferMade) -> None:
    if body.buyer != str(sale.buyer_id) or body.collection != str(sale.collection_id):
        raise OutOfRange("The sale was drafted for other parties.", pointer="/body/buyer")


def _check_free(sale: Sale, batch: Batch) -> None:
    """What a buyer confirmed, paid for or was given is offered to nobody else, from whatever
    collection; what is only offered, not twice from the same one."""
    others = in_other_sales(sale)
    for animal in sale.animals.all():
        if animal.ended:
            raise NotNow(
                "An animal of this sale is said to have died, or be lost or stolen. Draft a sale "
                "without it, or say first that it was found again or that this was a mistake."
            )
        if animal.collection_id != sale.collection_id:
            raise NotNow("An animal has left the collection.")
        _check_other_records(animal, batch)
        if animal.pk not in others:
            continue
        first = promised(animal, batch.now, sale.pk)
        if first is not None and same_buyer(first, sale):
            raise NotNow(f"This buyer has {TAKEN_AS[progress_of(first).state]} already.")
        refuse_promised(animal, batch, "offer", sale.pk, but=sale.pk)
        for other in sales_of_animal(animal.pk):
            same_seller = other.pk != sale.pk and other.collection_id == sale.collection_id
            if same_seller and progress_of(other).state == "offered":
                raise NotNow("An animal is already in another sale.")


def _check_other_records(animal: Animal, batch: Batch) -> None:
    """One snake is not sold twice, on each of the records that it is on."""
    for other in animals_of(joined([animal.pk]).get(animal.pk, ())).values():
        if other.collection.keeper_id != animal.collection.keeper_id and not other.ended:
            raise NotNow(
                "This snake is on a record that another keeper has, too. Whoever has the snake "
                "should have both: ask for the other to be handed over first."
            )
        offered = any(progress_of(one).state == "offered" for one in sales_of_animal(other.pk))
        if offered or promised(other, batch.now) is not None:
            raise NotNow("This snake is in another sale, by the other record that it is on.")


def refuse_promised(
    animal: Animal, batch: Batch, how: Attempt, to: UUID, *, but: UUID | None = None
) -> None:
    """Refuse to let somebody else have what a buyer confirmed, paid for or was given. That buyer
    is told: the letter is kept though the fact is not. ``to``: a sale, or a collection.

    Raises:
        NotNow: it is somebody's.
    """
    sale = promised(animal, batch.now, but)
    if sale is not None:
        notify_of_attempt(sale, animal, how, to, batch.letters)
        open_ = [one for one in returns_of(sale, batch.now, animal.pk) if one.state == "waiting"]
        if any(one.denied_before for one in open_):
            raise NotNow(
                "Its buyer has denied once that this animal was returned. Until they say that it "
                "was, it can go to nobody else."
            )
        if open_:
            raise NotNow(
                "Its buyer can still deny that this animal was returned. Until they have answered, "
                "or their time is over, it can go to nobody else."
            )
        raise NotNow(
            f"A buyer has {TAKEN_AS[progress_of(sale).state]}, so it can go to nobody else. They "
            "are told by letter that this was tried."
        )


def _check_represented(body: OfferMade, now: tuple[Representation, ...]) -> None:
    claimed = {one.animal: one for one in body.represents}
    if set(claimed) != {one.animal for one in now} or len(claimed) != len(body.represents):
        raise OutOfRange("The offer must represent each animal once.", pointer="/body/represents")
    moved = [one for one in now if claimed[one.animal] != one]
    if moved:
        raise StandingMoved(
            "The offer does not represent what the record says now.",
            now=msgspec.to_builtins(moved),
        )


def _check_claims(body: OfferMade, animals: Collection[UUID]) -> None:
    """Each was stated of an animal of the sale, by somebody who keeps or kept it, and stands.

    Raises:
        OutOfRange: one is of something else or by a stranger, or named twice.
        StandingMoved: one fell or was withdrawn.
    """
    named = [UUID(one.stated) for one in body.claims]
    found = claims_named(named)
    makers = makers_for(set(animals)) if named else {}
    for index, one in enumerate(body.claims):
        claim = found.get(UUID(one.stated))
        if claim is None or str(claim.animal_id) != one.animal or claim.animal_id not in animals:
            raise OutOfRange(
                "Nobody stated that of this animal.", pointer=f"/body/claims/{index}/stated"
            )
        if claim.by not in makers[claim.animal_id]:
            raise OutOfRange(
                "Nobody who keeps or kept the animal stated that. State it yourself, if it is so.",
                pointer=f"/body/claims/{index}/stated",
            )
    if len(set(named)) < len(named):
        raise OutOfRange("Represent each claim once.", pointer="/body/claims")
    gone = [one.pk for one in found.values() if one.fell or hasattr(one, "withdrawal")]
    if gone:
        raise StandingMoved(
            "A claim of the offer fell or was withdrawn.", claims=sorted(map(str, gone))
        )


def sale_confirmed(fact: Sealed, batch: Batch) -> int:
    """A buyer confirms what they saw: refused, with what changed, if the record moved."""
    sale = _party_to(fact, batch)
    body = cast(SaleConfirmed, fact.body)
    offer = offer_in_force(sale)
    if offer is None:
        raise StandingMoved("There is no offer.")
    offered = msgspec.convert(offer.body, OfferMade)
    if body.shown is None:  # only confirmations from before there was a digest have none
        raise WrongShape(
            "A confirmation says what was shown: send `shown` as the offer gave it.",
            pointer="/body/shown",
        )
    if body.seen >= batch.log_size:
        # Else a position made up from the future would never look moved.
        raise OutOfRange("Nobody has seen that position yet.", pointer="/body/seen")
    _check_still_there(sale, batch)
    _check_unmoved(sale, offer, body, body.shown)  # before the state: a fall also holds the sale
    _check_next(sale, fact.kind)
    if parse_moment(offered.expires) <= batch.now:
        raise NotNow("The offer has lapsed.")
    if sale.by_code and batch.actor.buyer is not None and not batch.actor.by_code:
        raise NotNow(NEEDS_CODE)
    logged = batch.log(fact)
    services.store_step(sale, fact.kind, logged)
    notify_of_step(sale, fact.kind, logged, batch.letters)
    return logged.position


def _check_still_there(sale: Sale, batch: Batch) -> None:
    others = in_other_sales(sale)
    for animal in sale.animals.all():
        if not still_there(animal, sale):
            raise NotNow("An animal of this offer is not with its seller any more.")
        other = promised(animal, batch.now, sale.pk) if animal.pk in others else None
        if other is not None and same_buyer(other, sale):
            raise NotNow(f"You have {TAKEN_AS[progress_of(other).state]} already.")
        if other is not None:
            raise NotNow("An animal of this offer has been sold to somebody else.")


def _check_unmoved(sale: Sale, offer: SaleStep, body: SaleConfirmed, shown: WhatWasShown) -> None:
    """What the buyer was shown must be so still, and what they were offered too. A digest that
    fits nothing is of a page that was made while something changed."""
    now = shown_now(sale, offer)
    if [one.animal for one in shown.animals] != [one.animal for one in now.animals]:
        raise OutOfRange("These are not the animals that were shown.", pointer="/body/shown")
    read = sale.steps.filter(pk=body.offer, kind="offer_made").first()
    if read is None:
        raise StandingMoved("There is no such offer.", new_offer=str(offer.pk))
    changed = dict.fromkeys(
        [*_not_as_offered(offer, now), *moved_since(shown, body.seen, read, now)]
    )
    unlike = shown.digest != now.summary().digest
    if changed or unlike or read.pk != offer.pk:
        what = "; ".join(map(in_words, changed)) or "what you were shown is not what it says now"
        raise StandingMoved(
            f"The record has changed since you looked: {what}. Read it again before you decide.",
            changed=[asdict(one) for one in changed],
            **({} if read.pk == offer.pk else {"new_offer": str(offer.pk)}),
        )


def _not_as_offered(offer: SaleStep, now: ShownOffer) -> list[Moved]:
    """The labels that are not those of the offer any more, whoever has seen them since."""
    offered = msgspec.convert(offer.body, OfferMade)
    was = {one.animal: one.label for one in offered.represents}
    return [
        Moved(one.animal, "label", was[one.animal], one.label)
        for one in now.animals
        if was[one.animal] != one.label
    ]


def sale_for(fact: Sealed, batch: Batch) -> Sale:
    """The sale, if the actor is the party whose step this is and it can be taken now."""
    sale = _party_to(fact, batch)
    _check_next(sale, fact.kind)
    return sale


def _party_to(fact: Sealed, batch: Batch) -> Sale:
    sale = sale_of(fact.about)
    if sale is None or not _is_party(sale, MAY[fact.kind], batch):
        raise NotFound()
    return sale


def _check_next(sale: Sale, kind: str) -> None:
    problem = refusal(progress_of(sale), kind)
    if problem is not None:
        raise NotNow(problem)


def _is_party(sale: Sale, party: str, batch: Batch) -> bool:
    if party == "buyer":
        return is_buyer(sale, batch.actor)
    return is_steward(batch.actor.keeper, sale.collection, batch.now)


def is_buyer(sale: Sale, actor: Actor) -> bool:
    """Through the sale's own link, or signed in as the keeper the buyer is."""
    if actor.buyer is not None:
        return actor.buyer == sale.buyer_id and actor.sale == sale.pk
    return actor.keeper is not None and actor.keeper == sale.buyer.keeper_id


def disclosure_acknowledged(fact: Sealed, batch: Batch) -> int:
    disclosure = disclosure_of(fact.about)
    if disclosure is None or not is_buyer(disclosure.sale, batch.actor):
        raise NotFound()
    if hasattr(disclosure, "acknowledgement"):
        raise NotNow("This has already been acknowledged.")
    logged = batch.log(fact)
    store_acknowledgement(logged)
    return logged.position
