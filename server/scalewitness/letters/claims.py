"""Letters about a claim of a trait that fell, stands again or was taken back."""

from collections.abc import Iterable
from typing import Any, Final, NamedTuple
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.visibility import kept_from, reader_of
from scalewitness.domain.consequences import ClaimChange
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.stated_words import statement_in_words
from scalewitness.letters.animals import Concerned, as_bought, concerned, describe
from scalewitness.letters.disclosures import Owed
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import about_sale, notify_buyer, notify_seller
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force

MOST: Final = 20
"""Claims that one letter lists; of more it says how many (our judgement)."""


def claim_in_letters(animal: Animal, claim: Statement) -> str:
    """What it says; somebody's own words stay on the pages, where they can be erased."""
    if claim.locus is None:
        return "a trait told in words, which its page shows"
    return statement_in_words(animal.species, claim)


def now_in_words(chance: str | None) -> str:
    """What became of it, beside what it was."""
    if chance is None:
        return "withdrawn by whoever stated it"
    return f"true with a chance of {100 * float(chance):.2g} in 100, by its proved parents"


def becomes_in_words(change: ClaimChange, chance: str | None) -> str:
    return "stands again" if change == "restored" else now_in_words(chance)


def notify_of_claim_hold(
    sale: Sale, cause: UUID, animal: Animal, claim: Statement, chance: str | None, owing: Owing
) -> None:
    """Both sides hear that the sale is held and why."""
    change = {
        "was": claim_in_letters(animal, claim),
        "now": now_in_words(chance),
        "animal": as_bought(animal, sale),
    }
    notify_buyer(sale, "sale_held", cause, change, owing)
    notify_seller(sale, "sale_held_seller", cause, change, owing)


def send_claim_disclosure(one: Owed, claim: Statement, owing: Owing) -> None:
    """As of a sex: the seller can neither stop nor edit it, and the newest tells what those about
    the same claim would have that had not left."""
    owed = one.disclosure
    offered = offer_in_force(owed.sale)
    owing.owe(
        "claim_disclosure",
        cause=owed.pk,
        recipient=owed.to_id,
        to=owed.to.email,
        context={
            **about_sale(owed.sale),
            "disclosure": str(owed.pk),
            "receipt": str(one.fact),
            "animal": as_bought(owed.animal, owed.sale),
            "change": owed.change,
            "claim": claim_in_letters(owed.animal, claim),
            "becomes": now_in_words(owed.chance or None) if owed.change != "restored" else "",
            "represented_at": offered.at.isoformat() if offered else None,
            "owed_at": owed.owed_at.isoformat(),
            "position": owed.position,
            "seller_email": owed.sale.collection.keeper.email,
            "link": str(one.link.pk),
        },
        about=f"claim {claim.id} in {owed.sale_id}",
    )


class ClaimNotice(NamedTuple):
    """What became of one claim, and of which fact. ``sales``: all that the animal was ever in, and
    ``relied`` those whose buyers are informed of it as such."""

    animal: Animal
    claim: Statement
    change: ClaimChange
    chance: str | None
    cause: UUID
    sales: tuple[Sale, ...]
    relied: tuple[Sale, ...]


def notify_of_claims(notices: Iterable[ClaimNotice], owing: Owing) -> None:
    """One letter a person of all claims that changed by one fact: to whoever stated them, whoever
    keeps the animals, and whoever sold one in a sale that still stands; not to whoever is owed a
    disclosure as a buyer, nor to who took a claim back. Of an animal that they are to check
    blind they hear nothing."""
    letters: dict[tuple[UUID, UUID], list[tuple[Concerned, ClaimNotice]]] = {}
    for one in notices:
        for reader in _readers(one, owing):
            letters.setdefault((reader.keeper.pk, one.cause), []).append((reader, one))
    for (keeper, cause), own in letters.items():
        shut = kept_from(reader_of(keeper, owing.now))
        open_ones = [pair for pair in own if pair[1].animal.pk not in shut]
        if open_ones:
            person = open_ones[0][0].keeper
            owing.owe(
                "claim_notice",
                cause=cause,
                recipient=keeper,
                to=person.email,
                context={
                    "to_name": person.name,
                    "count": len(open_ones),
                    "claims": [_claim_changed(*pair) for pair in open_ones[:MOST]],
                    "more": max(0, len(open_ones) - MOST),
                },
            )


def _readers(one: ClaimNotice, owing: Owing) -> Iterable[Concerned]:
    found = {reader.keeper.pk: reader for reader in concerned(one.animal, owing, one.sales)}
    if one.claim.by not in found and (maker := Keeper.objects.filter(pk=one.claim.by).first()):
        found[maker.pk] = Concerned(maker)
    informed = {sale.buyer.keeper_id for sale in one.relied}
    informed |= {owing.sender} if one.change == "withdrawn" else set()
    return [reader for keeper, reader in found.items() if keeper not in informed]


def _claim_changed(reader: Concerned, one: ClaimNotice) -> dict[str, Any]:
    return {
        **_known(reader, one.animal, one.claim),
        "claim": claim_in_letters(one.animal, one.claim),
        "change": one.change,
        "becomes": becomes_in_words(one.change, one.chance),
    }


def _known(one: Concerned, animal: Animal, claim: Statement) -> dict[str, Any]:
    """Whoever stated it and keeps it no more knows the codes that it had then."""
    if one.keeper.pk == claim.by and one.sold is None:
        codes = [each for each in animal.identifiers.all() if each.position < claim.position]
        return {"animal": describe(animal, named=False, codes=codes)}
    return one.known(animal)
