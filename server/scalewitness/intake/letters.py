"""Who is owed which letter, and what it says in values. Wording lives in the templates."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.domain.consequences import Affected
from scalewitness.domain.facts import Body, OfferMade, Representation
from scalewitness.domain.sales import LIVE
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.intake.batch import Batch, fresh_id
from scalewitness.ledger.services.writing import Logged
from scalewitness.mail.services import queueing as mail
from scalewitness.people.models import Keeper
from scalewitness.people.queries import partners_of
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import offer_in_force, progress_of, sales_of_animal, still_there
from scalewitness.visits.models import Visit

TO_SELLER = frozenset({"sale_confirmed", "check_requested", "offer_declined"})
TO_BUYER = frozenset({"offer_withdrawn", "payment_recorded", "handed_over"})


def describe(animal: Animal, *, named: bool = True) -> dict[str, Any]:
    """An animal as a letter names it; never its sex. Not ``named``: to whoever the name that
    its keeper calls it by is not for."""
    return {
        "name": animal.name if named else "",
        "species": taxon(animal.species).common,
        "scientific": taxon(animal.species).scientific,
        "identifiers": [
            {"scheme": one.scheme, "code": one.code}
            for one in sorted(animal.identifiers.all(), key=lambda one: one.position)
        ],
        "id": str(animal.pk),
    }


def concerned(animal: Animal, batch: Batch, sales: Collection[Sale] | None = None) -> list[Keeper]:
    """Holder and partners, and whoever sold the animal in a sale that still stands. ``sales``:
    all that it was ever in, where they have been read already."""
    sales = sales_of_animal(animal.pk) if sales is None else sales
    keepers = _stewards(animal, batch)
    keepers += [one.collection.keeper for one in sales if progress_of(one).state in LIVE]
    return list({keeper.pk: keeper for keeper in keepers}.values())


def _stewards(animal: Animal, batch: Batch) -> list[Keeper]:
    return [animal.collection.keeper, *partners_of(animal.collection_id, batch.now)]


def invitation(visit: Visit, batch: Batch) -> None:
    """Counts animals, names none: the guest is blind."""
    batch.owe_letter(
        "visit_invitation",
        cause=visit.pk,
        recipient=visit.guest_id,
        to=visit.guest.email,
        context={
            "to_name": visit.guest.name,
            "host_name": visit.host.name,
            "opens": visit.opens.isoformat(),
            "closes": visit.closes.isoformat(),
            "blind": visit.blind,
            "count": visit.animals.count(),
            "visit": str(visit.pk),
        },
    )


def offer(sale: Sale, fact: Logged[OfferMade], link: OfferLink, batch: Batch) -> None:
    batch.owe_letter(
        "offer",
        cause=fact.id,
        recipient=sale.buyer_id,
        to=sale.buyer.email,
        context={
            **_sale(sale),
            "represents": _represented(sale, fact.body.represents),
            "recheck_days": fact.body.recheck_days,
            "remedy": fact.body.remedy,
            "expires": fact.body.expires,
            "position": fact.position,
            "receipt": str(fact.id),
            "link": str(link.pk),
        },
    )


def code(sale: Sale, code: UUID, now: datetime) -> None:
    """To the buyer's address, whoever has the link."""
    mail.queue(
        id=code,
        kind="confirmation_code",
        cause=code,
        recipient=sale.buyer_id,
        to=sale.buyer.email,
        context={**_sale(sale), "code_id": str(code)},
        now=now,
    )


def step(
    sale: Sale, kind: str, fact: Logged[Body], batch: Batch, link: OfferLink | None = None
) -> None:
    """The other side hears of a step; ``link``: the buyer's way in from now on."""
    if kind in TO_SELLER:
        _tell_seller(sale, kind, fact.id, {"receipt": str(fact.id)}, batch)
    elif kind in TO_BUYER:
        _tell_buyer(sale, kind, fact.id, {"link": str(link.pk)} if link else {}, batch)


def held(sale: Sale, cause: UUID, was: Representation, now: Representation, batch: Batch) -> None:
    """Both sides hear that the sale is held and why."""
    change = {"was": was.label, "now": now.label, "animal": _animal(sale, was.animal)}
    _tell_buyer(sale, "sale_held", cause, change, batch)
    _tell_seller(sale, "sale_held_seller", cause, change, batch)


class Owed(NamedTuple):
    """A disclosure with the fact that states it, and the buyer's way to it."""

    disclosure: Disclosure
    fact: UUID
    link: OfferLink


def disclosures(owed: Sequence[Owed], cause_kind: str, batch: Batch) -> None:
    """Both versions side by side; the seller can neither stop nor edit it. What was owed about
    the same and has not left is told in the new letter too: nobody should read first of a fall
    that is mended already."""
    letters = [(fresh_id(batch.now), one) for one in owed]
    into = {(one.disclosure.to_id, _about(one.disclosure)): id for id, one in letters}
    waiting = mail.join_waiting(
        "disclosure", lambda said: (said["sale"], said["animal"]["id"]), into
    )
    batch.owe_letters(
        *(
            mail.letter(
                id=id,
                kind="disclosure",
                cause=one.disclosure.pk,
                recipient=one.disclosure.to_id,
                to=one.disclosure.to.email,
                context=_disclosed(one, waiting.get(id, ()), cause_kind),
                now=batch.now,
            )
            for id, one in letters
        )
    )


def _about(owed: Disclosure) -> tuple[str, str]:
    return str(owed.sale_id), str(owed.animal_id)


def _disclosed(one: Owed, waiting: Iterable[dict[str, Any]], cause_kind: str) -> dict[str, Any]:
    owed = one.disclosure
    offered = offer_in_force(owed.sale)
    return {
        **_sale(owed.sale),
        "disclosure": str(owed.pk),
        "receipt": str(one.fact),
        "animal": as_sold(owed.animal, owed.sale),
        "change": owed.change,
        "cause_kind": cause_kind,
        "was": owed.was,
        "now": owed.now,
        "represented_at": offered.at.isoformat() if offered else None,
        "owed_at": owed.owed_at.isoformat(),
        "position": owed.position,
        "recheck_days": offered.body["recheck_days"] if offered else None,
        "remedy": offered.body["remedy"] if offered else None,
        "seller_email": owed.sale.collection.keeper.email,
        "earlier": [told for context in waiting for told in _told_in(context)],
        "link": str(one.link.pk),
    }


def _told_in(disclosure: dict[str, Any]) -> list[dict[str, Any]]:
    """What a letter of disclosure tells, in the order it happened."""
    names = ("change", "now", "owed_at", "position")
    return [*disclosure.get("earlier", []), {name: disclosure[name] for name in names}]


def standing(
    animal: Animal,
    sales: Collection[Sale],
    standing: UUID,
    moved: dict[str, str],
    batch: Batch,
) -> None:
    """Holder, partners and earlier sellers hear that a verified standing changed. ``moved``:
    ``change``, ``was`` and ``now``; ``sales``: all that the animal was ever in."""
    _tell_concerned(animal, "standing_notice", standing, moved, batch, sales=sales)


def pairings(
    animal: Animal,
    standing: UUID,
    affected: Iterable[tuple[Pairing, Affected]],
    moved: dict[str, str],
    batch: Batch,
) -> None:
    """Holders and partners of both animals, one letter each for all pairings they are part of.
    Of an animal that they may not see they hear only that its sex is no longer what they
    planned on; whoever is still to check it blind hears nothing."""
    told: dict[UUID, tuple[Keeper, list[tuple[Pairing, Affected]]]] = {}
    for pairing, change in affected:
        both = [*_stewards(pairing.sire, batch), *_stewards(pairing.dam, batch)]
        for keeper in {one.pk: one for one in both}.values():
            told.setdefault(keeper.pk, (keeper, []))[1].append((pairing, change))
    for keeper, own in told.values():
        mates = {_mate(pairing, animal).pk for pairing, _ in own}
        sights = sights_of(keeper.pk, {animal.pk, *mates}, batch.now)
        if sights.get(animal.pk) != "blind":
            batch.owe_letter(
                "pairing_affected",
                cause=standing,
                recipient=keeper.pk,
                to=keeper.email,
                context={
                    "to_name": keeper.name,
                    "animal": describe(animal) if animal.pk in sights else None,
                    **(moved if animal.pk in sights else {}),
                    "pairings": [_affected(*one, animal, sights) for one in own],
                },
            )


def _mate(pairing: Pairing, animal: Animal) -> Animal:
    return pairing.dam if pairing.sire_id == animal.pk else pairing.sire


def _affected(
    pairing: Pairing, change: Affected, animal: Animal, sights: Mapping[UUID, str]
) -> dict[str, Any]:
    mate = _mate(pairing, animal)
    return {
        "mate": describe(mate) if sights.get(mate.pk) == "all" else None,
        "season": pairing.season,
        "sex": change.sex,
        "change": change.change,
    }


def dispute(opened: Dispute, batch: Batch, sales: Collection[Sale] | None = None) -> None:
    context = {"ground": opened.ground, "dispute": str(opened.pk)}
    _tell_concerned(opened.animal, "dispute_opened", opened.pk, context, batch, sales=sales)


def statement(dispute: Dispute, fact: UUID, batch: Batch) -> None:
    """Everyone concerned but whoever said it hears that a party spoke, not what it said."""
    context = {"dispute": str(dispute.pk)}
    _tell_concerned(dispute.animal, "statement_made", fact, context, batch, but=batch.actor.keeper)


def finding(dispute: Dispute, found: Finding, batch: Batch) -> None:
    """The buyer of the disputed sale hears the outcome."""
    if dispute.sale is None:
        return
    context = {
        "animal": as_sold(dispute.animal, dispute.sale),
        "outcome": found.outcome,
        "remedy_found": found.remedy,
    }
    _tell_buyer(dispute.sale, "finding", found.pk, context, batch)


def _tell_concerned(
    animal: Animal,
    kind: str,
    cause: UUID,
    context: dict[str, Any],
    batch: Batch,
    but: UUID | None = None,
    sales: Collection[Sale] | None = None,
) -> None:
    keeping = {keeper.pk for keeper in _stewards(animal, batch)}
    for keeper in concerned(animal, batch, sales):
        if keeper.pk != but:
            described = describe(animal, named=keeper.pk in keeping)
            batch.owe_letter(
                kind,
                cause=cause,
                recipient=keeper.pk,
                to=keeper.email,
                context={"to_name": keeper.name, "animal": described, **context},
            )


def _tell_buyer(sale: Sale, kind: str, cause: UUID, context: dict[str, Any], batch: Batch) -> None:
    batch.owe_letter(
        kind,
        cause=cause,
        recipient=sale.buyer_id,
        to=sale.buyer.email,
        context=_sale(sale) | context,
    )


def _tell_seller(sale: Sale, kind: str, cause: UUID, context: dict[str, Any], batch: Batch) -> None:
    keeper = sale.collection.keeper
    batch.owe_letter(
        kind,
        cause=cause,
        recipient=keeper.pk,
        to=keeper.email,
        context=_sale(sale) | {"to_name": keeper.name} | context,
    )


def _sale(sale: Sale) -> dict[str, Any]:
    return {
        "sale": str(sale.pk),
        "to_name": sale.buyer.name,
        "buyer_name": sale.buyer.name,
        "seller_name": sale.collection.keeper.name,
        "animals": [
            as_sold(one, sale) for one in sorted(sale.animals.all(), key=lambda one: one.pk)
        ],
    }


def as_sold(animal: Animal, sale: Sale) -> dict[str, Any]:
    """As the parties to a sale know it: what a later keeper calls it is not for them."""
    return describe(animal, named=still_there(animal, sale))


def _animal(sale: Sale, animal: str) -> dict[str, Any]:
    return as_sold(sale.animals.get(pk=animal), sale)


def _represented(sale: Sale, represents: tuple[Representation, ...]) -> list[dict[str, Any]]:
    return [
        {"animal": _animal(sale, one.animal), "label": one.label, "p_male": one.p_male}
        for one in represents
    ]
