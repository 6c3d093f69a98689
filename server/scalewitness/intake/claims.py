"""What follows when a claim of a trait falls, stands again or is taken back: written in the
transaction of the fact that caused it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.pairings import animals_paired, planned_with
from scalewitness.disclosures.queries import last_disclosed_of_claim
from scalewitness.domain.consequences import ClaimChange as Change
from scalewitness.domain.consequences import (
    ClaimedSale,
    ClaimReliance,
    DiscloseClaim,
    Hold,
    ReplanForClaim,
    of_claim,
)
from scalewitness.domain.facts import (
    ClaimFell,
    ClaimNow,
    ClaimRestored,
    DisclosureOwed,
    OfferMade,
    SaleHeld,
    TraitWithdrawn,
)
from scalewitness.domain.genetics.falling import may_fall
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.stated_words import locus_named
from scalewitness.domain.sexing.case import share
from scalewitness.intake.affected_plans import state_affected_plans
from scalewitness.intake.batch import Batch, Touched
from scalewitness.intake.disclosing import owe_disclosure
from scalewitness.intake.rules.sales import represent
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.claims import (
    ClaimNotice,
    notify_of_claim_hold,
    notify_of_claims,
    send_claim_disclosure,
)
from scalewitness.letters.pairings import ClaimMoved, notify_of_claimed_pairings
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import (
    animals_in_sales,
    offer_in_force,
    progress_of,
    sales_of_animal,
)
from scalewitness.sales.services import store_links, store_step
from scalewitness.traits.models import ClaimChange
from scalewitness.traits.queries import Worded, as_statements
from scalewitness.traits.queries.claims import (
    Judged,
    any_claims,
    judged_near,
    makers_for,
)
from scalewitness.traits.services import row_of_change


def settle_claims(batch: Batch) -> None:
    """Look again at the claims of all animals of which something was stated, and of their young,
    and write what follows."""
    touched, batch.restated = batch.restated, {}
    if not touched or not any_claims(touched):
        return
    batch.store()
    changed = judged_near(touched.keys())
    sold = animals_in_sales(one.animal.pk for one in changed)
    paired = animals_paired(one.animal.pk for one in changed)
    notices = [
        _change(
            one,
            _cause(one.animal, touched),
            batch,
            sales_of_animal(one.animal.pk) if one.animal.pk in sold else [],
            planned_with(one.animal.pk) if one.animal.pk in paired else [],
        )
        for one in changed
    ]
    batch.store()
    notify_of_claims(notices, batch.letters)


def _cause(animal: Animal, touched: dict[UUID, Touched]) -> Touched:
    """The last thing that was stated of it, of a parent or of a parent's brood."""
    near = {animal.pk, animal.sire, animal.dam}
    return [one for key, one in touched.items() if key in near][-1]


def _change(
    judged: Judged,
    cause: Touched,
    batch: Batch,
    sales: Sequence[Sale],
    planned: Sequence[Pairing],
) -> ClaimNotice:
    claim, chance = judged.claim, judged.chance
    written = None if chance is None else share(chance)
    common = {"stated": str(claim.id), "cause": str(cause.cause)}
    body: ClaimFell | ClaimRestored
    if judged.falls:
        body = ClaimFell(chance=written or share(0), **common)
    else:
        body = ClaimRestored(chance=written, **common)
    logged = batch.state("claim_fell" if judged.falls else "claim_restored", judged.animal.pk, body)
    batch.keep(ClaimChange, row_of_change(logged))
    now: ClaimReliance = "fell" if judged.falls else "stands"
    known = written if judged.falls else None
    following = _Following(judged.animal, claim, cause, logged, known, batch)
    return following.write(now, sales, planned)


def follow_withdrawal(statement: Worded, fact: Logged[TraitWithdrawn], batch: Batch) -> None:
    """Whoever relied on it hears that whoever stated it took it back."""
    (claim,) = as_statements([statement])
    animal = statement.animal
    touched = Touched(fact.id, "trait_withdrawn")
    following = _Following(animal, claim, touched, fact, None, batch)
    planned = _planned_on(animal, claim)
    notice = following.write("withdrawn", sales_of_animal(animal.pk), planned)
    if notice.relied:
        notify_of_claims([notice], batch.letters)


def _planned_on(animal: Animal, claim: Statement) -> Sequence[Pairing]:
    """Pairings of the animal, if the claim is one that could fall, of whose word counts for that:
    a stranger who may look at it bothers nobody by taking back what they stated."""
    if not may_fall(claim, locus_named(animal.species, claim.locus)):
        return ()
    if not animals_paired([animal.pk]) or claim.by not in makers_for({animal.pk})[animal.pk]:
        return ()
    return planned_with(animal.pk)


@dataclass
class _Following:
    """Writes what is owed of one claim to its buyers, and to who planned on it. ``claim``: as it
    was before; ``fact``: the one that says what became of it; ``chance``: of one that fell."""

    animal: Animal
    claim: Statement
    cause: Touched
    fact: Logged[Any]
    chance: str | None
    batch: Batch

    def write(
        self, now: ClaimReliance, sales: Iterable[Sale], planned: Iterable[Pairing]
    ) -> ClaimNotice:
        """``sales``: all that the animal was ever in; ``planned``: pairings of it."""
        every = list(sales)
        relying = {str(one.pk): one for one in every if self._relies(one)}
        heard = last_disclosed_of_claim([one.pk for one in relying.values()], self.claim.id)
        pairings = {str(one.pk): one for one in planned}
        views = [self._view(one, heard[one.pk]) for one in relying.values()]
        follows = of_claim(now, views, list(pairings), fell=self.claim.fell)
        if follows:
            self.batch.store()
        relied: list[Sale] = []
        for one in follows:
            if isinstance(one, ReplanForClaim):
                self._replan([pairings[each] for each in one.pairings], one.change)
                continue
            relied.append(relying[one.sale])
            if isinstance(one, Hold):
                self._hold(relied[-1], one)
            else:
                self._disclose(relied[-1], one)
        change: Change = "restored" if now == "stands" else now
        return ClaimNotice(
            self.animal,
            self.claim,
            change,
            self.chance,
            self.cause.cause,
            tuple(every),
            tuple(relied),
        )

    def _replan(self, pairings: Sequence[Pairing], change: Change) -> None:
        affected = [(one, change) for one in pairings]
        cause, claim = self.cause.cause, self.claim.id
        state_affected_plans(self.animal.pk, cause, affected, self.batch, claim)
        moved = ClaimMoved(self.claim, change, self.chance, self.fact.id, self.fact.position)
        notify_of_claimed_pairings(self.animal, moved, pairings, self.batch.letters)

    def _relies(self, sale: Sale) -> bool:
        offer = offer_in_force(sale)
        if offer is None:
            return False
        claims = msgspec.convert(offer.body, OfferMade).claims
        return any(one.stated == str(self.claim.id) for one in claims)

    def _view(self, sale: Sale, heard: ClaimReliance) -> ClaimedSale:
        progress = progress_of(sale)
        return ClaimedSale(str(sale.pk), progress.state, bool(progress.held), heard)

    def _hold(self, sale: Sale, hold: Hold) -> None:
        cause = str(self.cause.cause)
        body = SaleHeld(reason=hold.reason, animal=str(self.animal.pk), cause=cause)
        logged = self.batch.state("sale_held", sale.pk, body)
        store_step(sale, "sale_held", logged)
        notify_of_claim_hold(
            sale, logged.id, self.animal, self.claim, self.chance, self.batch.letters
        )

    def _disclose(self, sale: Sale, owed: DiscloseClaim) -> None:
        offer = offer_in_force(sale)
        assert offer is not None  # noqa: S101  it represents the claim
        offered = msgspec.convert(offer.body, OfferMade)
        animal = str(self.animal.pk)
        body = DisclosureOwed(
            sale=str(sale.pk),
            animal=animal,
            to=str(sale.buyer_id),
            cause=str(self.cause.cause),
            change=owed.change,
            was=next(one for one in offered.represents if one.animal == animal),
            now=represent([self.animal.pk])[0],
            claim=ClaimNow(stated=str(self.claim.id), chance=self.chance),
        )
        made = owe_disclosure(body, sale, self.animal, self.batch)
        store_links([made.link])
        send_claim_disclosure(made, self.claim, self.batch.letters)
        self.batch.store()
