"""When a claim of a trait falls: at a chance of at most one in a hundred, under proved parents.

It falls by proof alone, never because a trait is rare: what is not known of the parents is taken
as any allele being as likely as the others. So a plain animal of which nobody tested anything
makes no claim fall, though hardly any plain animal carries the trait.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import msgspec

from scalewitness.domain.genetics.carried import Bounded, carried
from scalewitness.domain.genetics.evidence import chance_of, evidence
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.pedigree import Member, Pedigree
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.traits import Locus

FALLS_AT: Final = 0.01
"""A claim is no longer vouched for at this chance or less."""
FOUND: Final = frozenset({"seen", "young", "dna"})
"""What is known of an animal itself; a claim is no evidence for or against a claim."""


class Kin(NamedTuple):
    """An animal, with the chance that it is male, and what counts of what was stated of it."""

    id: str
    male: float
    stated: Sequence[Statement]


def may_fall(claim: Statement, locus: Locus | None) -> bool:
    """Whether it could: what was sold as a chance cannot be false, and what is not computed is not
    known to be."""
    return claim.says != "may_carry" and locus is not None and locus.computed


def chance_of_claim(
    claim: Statement, locus: Locus, young: Kin, sire: Kin, dam: Kin
) -> float | None:
    """That it is true, with these two as its parents. None: what was stated of the three cannot
    be true together, or cannot be computed."""
    even = _even(locus)
    known = [
        evidence((each for each in one.stated if each.basis in FOUND), [even])
        for one in (young, sire, dam)
    ]
    parents = {"sires": {sire.id: 1.0}, "dams": {dam.id: 1.0}}
    members = [
        Member(young.id, young.male, evidence=known[0], **parents),  # type: ignore[arg-type]
        Member(sire.id, sire.male, evidence=known[1]),
        Member(dam.id, dam.male, evidence=known[2]),
    ]
    try:
        chances = carried(Pedigree(members), even, of=[young.id])[young.id]
    except Contradiction:
        return None
    if isinstance(chances, Bounded):
        return None
    return chance_of(even, claim.says, claim.allele, chances)


def _even(locus: Locus) -> Locus:
    numbers = dict(locus.numbers)
    numbers["frequency"] = msgspec.structs.replace(
        numbers["frequency"], value=1 / len(locus.alleles)
    )
    return msgspec.structs.replace(locus, numbers=numbers)
