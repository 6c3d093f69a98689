"""Loci and pedigrees for tests, in few words."""

from fractions import Fraction
from uuid import UUID

from scalewitness.domain.genetics.pedigree import Member, Pedigree
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.traits import read_locus

XY, ZW = "python_regius", "pantherophis_guttatus"
"""Species whose sheet says so."""
NUMBERS = {
    "frequency": 0.2,
    "penetrance": 1.0,
    "seen_right": 0.99,
    "overlooked": 0.01,
    "confused": 0.05,
    "claim_right": 0.9,
    "dna_right": 0.999,
    "dna_missed": 0.001,
}


def made(key="t", *, alleles=("a",), inheritance="recessive", species=XY, numbers=None, **more):
    """A locus: ``numbers`` in place of those above, ``more`` as in the sheet."""
    shares = {
        name: {"value": value, "status": "our judgement"}
        for name, value in {**NUMBERS, **(numbers or {})}.items()
    }
    row = {"key": key, "species": species, "name": key, "alleles": list(alleles)}
    return read_locus({**row, "inheritance": inheritance, "status": "published", **more}, shares)


def on_sex_chromosome(species=XY, **more):
    return made(species=species, on_sex_chromosome=True, **more)


W = "wild"
FREE, ONE, TWO = (W, W), (W, "a"), ("a", "a")
IS_FREE, IS_ONE, IS_TWO = {FREE: 1.0}, {ONE: 1.0}, {TWO: 1.0}
LOOKS_PLAIN = {FREE: 1.0, ONE: 1.0, (W,): 1.0}


def animal(key, sire=None, dam=None, male=0.5, known=None, at="t", **more):
    """One of sure parents, or unknown ones; ``known`` of its genotype at one locus."""
    return Member(
        key,
        male,
        {sire: 1.0} if sire else {},
        {dam: 1.0} if dam else {},
        evidence={at: known} if known else {},
        **more,
    )


def pedigree(*members):
    return Pedigree(members)


def but(whole, *members):
    """The pedigree with these in place of those of the same id."""
    return Pedigree({one.id: one for one in [*whole, *members]}.values())


def stated(says, basis="seen", *, locus="t", allele=None, chance=None):
    """By somebody, at some time."""
    return Statement(
        UUID(int=1), 1, UUID(int=2), UUID(int=3), None, says, basis, locus, allele, chance
    )


def close(fraction):
    return float(Fraction(fraction))
