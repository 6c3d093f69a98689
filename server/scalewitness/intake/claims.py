"""What follows when a claim of a trait falls, stands again or is taken back: written in the
transaction of the fact that caused it."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import last_disclosed_of_claim
from scalewitness.disclosures.services import disclosure, disclosure_row
from scalewitness.domain.consequences import (
    ClaimChange,
    ClaimedSale,
    ClaimReliance,
    DiscloseClaim,
    HoldForClaim,
    of_claim,
)
from scalewitness.domain.facts import (
    ClaimFell,
    ClaimNow,
    ClaimRestored,
    DisclosureOwed,
    OfferMade,
    SaleHeld,
)
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.sexing.case import share
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch, Touched
from scalewitness.intake.rules.sales import represent
from scalewitness.letters.claims import notify_of_claim, notify_of_claim_hold, send_claim_disclosure
from scalewitness.letters.disclosures import Owed
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force, progress_of, sales_of_animal
from scalewitness.sales.services import new_lasting_link, store_links, store_step
from scalewitness.traits.queries import Worded, as_statements
from scalewitness.traits.queries.claims import Judged, any_claims, judged_near
from scalewitness.traits.services import store_claim_change


def settle_claims(batch: Batch) -> None:
    """Look again at the claims of all animals of which something was stated, and of their young,
    and write what follows."""
    touched, batch.restated = batch.restated, {}
    if not touched or not any_claims(touched):
        return
    batch.store()
    for one in list(judged_near(touched.keys())):
        _change(one, _cause(one.animal, touched), batch)


def _cause(animal: Animal, touched: dict[UUID, Touched]) -> Touched:
    """The last thing that was stated of it or of a parent."""
    near = {animal.pk, animal.sire, animal.dam}
    return [one for key, one in touched.items() if key in near][-1]


def _change(judged: Judged, cause: Touched, batch: Batch) -> None:
    claim, chance = judged.claim, judged.chance
    written = None if chance is None else share(chance)
    common = {"stated": str(claim.id), "cause": str(cause.cause)}
    body: ClaimFell | ClaimRestored
    if judged.falls:
        body = ClaimFell(chance=written or share(0), **common)
    else:
        body = ClaimRestored(chance=written, **common)
    logged = batch.state("claim_fell" if judged.falls else "claim_restored", judged.animal.pk, body)
    store_claim_change(logged)
    now: ClaimReliance = "fell" if judged.falls else "stands"
    chance_now = written if judged.falls else None
    _Following(judged.animal, claim, cause, logged.id, chance_now, batch).write(now)


def follow_withdrawal(statement: Worded, cause: UUID, batch: Batch) -> None:
    """Whoever relied on it hears that whoever stated it took it back."""
    (claim,) = as_statements([statement])
    touched = Touched(cause, "trait_withdrawn")
    _Following(statement.animal, claim, touched, cause, None, batch).write("withdrawn")


@dataclass
class _Following:
    """Writes what is owed of one claim. ``fact``: that states the change; ``chance``: of one that
    fell."""

    animal: Animal
    claim: Statement
    cause: Touched
    fact: UUID
    chance: str | None
    batch: Batch

    def write(self, now: ClaimReliance) -> None:
        sales = {str(one.pk): one for one in self._relying()}
        heard = last_disclosed_of_claim([one.pk for one in sales.values()], self.claim.id)
        views = [self._view(one, heard[one.pk]) for one in sales.values()]
        follows = of_claim(now, views)
        if not follows and now == "withdrawn":
            return
        self.batch.store()
        for one in follows:
            if isinstance(one, HoldForClaim):
                self._hold(sales[one.sale], one)
            else:
                self._disclose(sales[one.sale], one)
        change: ClaimChange = "restored" if now == "stands" else now
        relied = [sales[one.sale] for one in follows]
        notify_of_claim(
            self.animal, self.claim, change, self.chance, self.fact, relied, self.batch.letters
        )

    def _relying(self) -> Iterable[Sale]:
        for sale in sales_of_animal(self.animal.pk):
            offer = offer_in_force(sale)
            if offer is not None and any(
                one.stated == str(self.claim.id)
                for one in msgspec.convert(offer.body, OfferMade).claims
            ):
                yield sale

    def _view(self, sale: Sale, heard: ClaimReliance) -> ClaimedSale:
        progress = progress_of(sale)
        return ClaimedSale(str(sale.pk), progress.state, bool(progress.held), heard)

    def _hold(self, sale: Sale, hold: HoldForClaim) -> None:
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
        logged = self.batch.state("disclosure_owed", fresh_id(self.batch.now), body)
        made = disclosure(logged)
        self.batch.keep(Disclosure, disclosure_row(made))
        made.sale, made.animal, made.to = sale, self.animal, sale.buyer
        link = new_lasting_link(sale, fresh_id(self.batch.now), self.batch.now)
        store_links([link])
        send_claim_disclosure(Owed(made, logged.id, link), self.claim, self.batch.letters)
        self.batch.store()
