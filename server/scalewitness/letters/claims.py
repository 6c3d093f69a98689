"""Letters about a claim of a trait that fell, stands again or was taken back."""

from collections.abc import Collection
from typing import Any
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.visibility import sights_of
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


def notify_of_claim(
    animal: Animal,
    claim: Statement,
    change: ClaimChange,
    chance: str | None,
    fact: UUID,
    relied: Collection[Sale],
    owing: Owing,
) -> None:
    """Whoever stated it, whoever keeps the animal, and whoever sold it in a sale that still
    stands; not whoever is owed a disclosure as its buyer, and not whoever took it back. Somebody
    who is to check the animal blind hears nothing."""
    found = {one.keeper.pk: one for one in concerned(animal, owing)}
    informed = {sale.buyer.keeper_id for sale in relied}
    informed |= {owing.sender} if change == "withdrawn" else set()
    context = {
        "change": change,
        "claim": claim_in_letters(animal, claim),
        "becomes": now_in_words(chance) if change != "restored" else "",
        "owed_at": owing.now.isoformat(),
    }
    if claim.by not in found and (maker := Keeper.objects.filter(pk=claim.by).first()):
        found[maker.pk] = Concerned(maker)
    for keeper, one in found.items():
        sights = sights_of(keeper, [animal.pk], owing.now)
        if keeper not in informed and sights.get(animal.pk) != "blind":
            owing.owe(
                "claim_notice",
                cause=fact,
                recipient=keeper,
                to=one.keeper.email,
                context={
                    "to_name": one.keeper.name,
                    **_known(one, animal, claim),
                    **context,
                    "own": keeper == claim.by,
                },
                about=f"claim {claim.id}",
            )


def _known(one: Concerned, animal: Animal, claim: Statement) -> dict[str, Any]:
    """Whoever stated it and keeps it no more knows the codes that it had then."""
    if one.keeper.pk == claim.by and one.sold is None:
        codes = [each for each in animal.identifiers.all() if each.position < claim.position]
        return {"animal": describe(animal, named=False, codes=codes)}
    return one.known(animal)
