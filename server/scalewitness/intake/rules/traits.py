"""Statements of traits: by anybody who sees the animal whole, taken back by whoever made them."""

from typing import Final, cast
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import TraitStated, TraitWithdrawn
from scalewitness.domain.genetics.stated import SEEN
from scalewitness.domain.genetics.traits import WILD, Locus, loci_of
from scalewitness.intake.batch import Batch, Touched
from scalewitness.intake.claims import follow_withdrawal
from scalewitness.intake.submission import Sealed
from scalewitness.traits import services
from scalewitness.traits.queries import in_force_by, statement_of

MOST: Final = 60
"""Statements in force that one person may have on one animal (our judgement: more traits than any
species' sheet has)."""


def trait_stated(fact: Sealed, batch: Batch) -> int:
    """By whoever sees the animal whole, with a share in it or not: two people may contradict each
    other, and both are shown. Of somebody who is to check it blind first there is no animal."""
    body, keeper = cast(TraitStated, fact.body), batch.actor.keeper
    if keeper is None:
        raise NotFound()
    animal = animal_open(keeper, fact.about, batch.now)
    _check_locus(body, animal)
    earlier = in_force_by(keeper, animal.pk)
    same = {"locus": body.locus or "", "allele": body.allele or ""}
    if body.locus and earlier.filter(says=body.says, basis=body.basis, **same).exists():
        raise NotNow("You have stated that already.")
    if earlier.count() >= MOST:
        raise NotNow(
            f"You have {MOST} statements of the traits of this animal. Withdraw one that no longer "
            "holds."
        )
    logged = batch.log(fact)
    services.store_statement(logged)
    batch.restated[animal.pk] = Touched(fact.id, fact.kind)
    return logged.position


def _check_locus(body: TraitStated, animal: Animal) -> None:
    """Raises OutOfRange: the sheet of its species has no such trait, or not this allele of it."""
    if body.locus is None:
        return
    found = {one.key: one for one in loci_of(animal.species)}.get(body.locus)
    if found is None:
        raise OutOfRange(
            "The record knows no such trait of this species. State it in your own words.",
            pointer="/body/locus",
        )
    _check_allele(body, found)


def _check_allele(body: TraitStated, locus: Locus) -> None:
    """A look may be named as well, where a look is what it says."""
    alleles = locus.alleles[1:]
    looks = [one.key for one in locus.looks if one.key != WILD] if body.says in SEEN else []
    if body.allele is None and len(alleles) > 1:
        raise OutOfRange(f"Say which: {', '.join(alleles)}.", pointer="/body/allele")
    if body.allele is not None and body.allele not in {*alleles, *looks}:
        raise OutOfRange("This trait has no such allele.", pointer="/body/allele")


def trait_withdrawn(fact: Sealed, batch: Batch) -> int:
    """Also by somebody who no longer sees the animal: it corrects the record."""
    statement = statement_of(UUID(cast(TraitWithdrawn, fact.body).stated))
    keeper = batch.actor.keeper
    if statement is None or statement.animal_id != fact.about or statement.by != keeper:
        raise NotFound()
    if hasattr(statement, "withdrawal"):
        raise NotNow("You have withdrawn it already.")
    logged = batch.log(fact)
    services.store_withdrawal(logged)
    batch.restated[fact.about] = Touched(fact.id, fact.kind)
    follow_withdrawal(statement, logged, batch)
    return logged.position
