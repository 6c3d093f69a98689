"""Disclosures as shown: both versions side by side, and whether they arrived."""

from datetime import datetime
from uuid import UUID

import msgspec
from msgspec import Struct

from scalewitness.api.shapes.animals import AnimalNamed, animals_named
from scalewitness.api.shapes.letters import LetterShown, letters
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.cautions import AFTER_A_DISCLOSURE
from scalewitness.domain.facts import Representation
from scalewitness.domain.genetics.stated_words import statement_in_words
from scalewitness.ledger.queries.entries import entry_of
from scalewitness.mail.queries import letters_for
from scalewitness.sales.queries import offer_in_force
from scalewitness.traits.queries import as_statements, claims_named


class Cause(Struct, frozen=True):
    """The fact that moved the standing, by kind and time; not what it concluded."""

    kind: str
    received_at: datetime


class ClaimDisclosed(Struct, frozen=True):
    """A represented claim, in words. ``chance``: of one that fell, that it is true all the same."""

    stated: UUID
    in_words: str
    chance: float | None


class DisclosureShown(Struct, frozen=True):
    """``was`` is what was represented when the animal was sold, ``now`` what the record
    says since. ``change``: ``fell``, ``reversed``, ``restored`` or ``withdrawn``. ``claim``: it is
    about that statement of a trait, not about the sex. ``letters`` is for the seller; it is empty
    for the buyer."""

    id: UUID
    position: int
    sale: UUID
    animal: AnimalNamed
    to: str
    change: str
    was: Representation
    now: Representation
    claim: ClaimDisclosed | None
    represented_at: datetime | None
    owed_at: datetime
    cause: Cause | None
    recheck_days: int | None
    remedy: str | None
    seller: str
    seller_email: str
    advice: tuple[str, ...]
    acknowledged_at: datetime | None
    letters: list[LetterShown]


class Disclosures(Struct, frozen=True):
    items: list[DisclosureShown]


def disclosure(owed: Disclosure, *, for_seller: bool) -> DisclosureShown:
    offered = offer_in_force(owed.sale)
    collection = owed.sale.collection
    holder = collection.pk if for_seller else None
    return DisclosureShown(
        id=owed.pk,
        position=owed.position,
        sale=owed.sale_id,
        animal=animals_named([owed.animal], holder=holder, sale=owed.sale)[0],
        to=owed.to.name,
        change=owed.change,
        was=msgspec.convert(owed.was, Representation),
        now=msgspec.convert(owed.now, Representation),
        claim=_claim(owed),
        represented_at=offered.at if offered else None,
        owed_at=owed.owed_at,
        cause=_cause(owed.cause),
        recheck_days=offered.body["recheck_days"] if offered else None,
        remedy=offered.body["remedy"] if offered else None,
        seller=collection.keeper.name,
        seller_email=collection.keeper.email,
        advice=AFTER_A_DISCLOSURE,
        acknowledged_at=_acknowledged_at(owed),
        letters=_letters(owed) if for_seller else [],
    )


def _claim(owed: Disclosure) -> ClaimDisclosed | None:
    if owed.claim is None:
        return None
    (stated,) = as_statements([claims_named([owed.claim])[owed.claim]])
    words = statement_in_words(owed.animal.species, stated)
    return ClaimDisclosed(owed.claim, words, float(owed.chance) if owed.chance else None)


def _cause(fact: UUID) -> Cause | None:
    entry = entry_of(fact)
    return Cause(entry.kind, entry.received_at) if entry else None


def _acknowledged_at(owed: Disclosure) -> datetime | None:
    return owed.acknowledgement.at if hasattr(owed, "acknowledgement") else None


def _letters(owed: Disclosure) -> list[LetterShown]:
    rows = letters_for([owed.pk]).get(owed.pk, [])
    return letters(rows, {owed.to_id: owed.to.name})
