"""Genotypes and chances as the trade says them: “het albino”, “66 % het”."""

from collections.abc import Mapping
from typing import Final

from scalewitness.domain.genetics.traits import WILD, Genotype, Locus

SHORTHAND: Final[Mapping[str, float]] = {"100 % het": 1.0, "66 % het": 2 / 3, "50 % het": 1 / 2}
"""Of a recessive that does not show: the chance of one copy."""
NEAR: Final = 0.015
"""A chance so near is that of the shorthand, as looks may be misread (our judgement)."""


def genotype_in_words(locus: Locus, genotype: Genotype) -> str:
    """``het albino``, ``albino, two copies``, ``motley and stripe``, ``no copy``."""
    mutants = [one for one in genotype if one != WILD]
    if not mutants:
        return "no copy"
    names = [_name(one) for one in mutants]
    if len(genotype) == 1:
        return f"{names[0]}, on the one such chromosome"
    if len(mutants) == 1:
        hidden = locus.look(genotype).key == WILD
        return f"het {names[0]}" if hidden else f"{names[0]}, one copy"
    return f"{names[0]}, two copies" if names[0] == names[1] else " and ".join(names)


def look_in_words(locus: Locus, key: str) -> str:
    """The look of that key; the plain one by what it lacks."""
    return f"not {locus_in_words(locus)}" if key == WILD else locus.shown_as(key).words


def locus_in_words(locus: Locus) -> str:
    """Its name without the gene."""
    return locus.name.split(",", maxsplit=1)[0]


def shorthand(locus: Locus, chances: Mapping[Genotype, float]) -> str:
    """What the trade writes of one that does not show a recessive; empty where nothing is.
    For animals whose parents are certain, and no others."""
    hets = {one: p for one, p in chances.items() if _is_het(locus, one)}
    plain = sum(p for one, p in chances.items() if locus.look(one).key == WILD)
    if not hets or plain < 1 - NEAR:
        return ""
    genotype, chance = max(hets.items(), key=lambda one: one[1])
    words = (name for name, share in SHORTHAND.items() if abs(chance - share) < NEAR)
    mutant = next(one for one in genotype if one != WILD)
    return next((f"{one} {_name(mutant)}" for one in words), "")


def chance_in_words(chance: float) -> str:
    """``66 in 100``; never more sure than that, unless it is certain."""
    if chance in (0, 1):
        return "certain" if chance else "cannot be"
    if chance < 0.005:
        return "less than 1 in 100"
    return f"{100 * chance:.0f} in 100" if chance <= 0.995 else "more than 99 in 100"


def _is_het(locus: Locus, genotype: Genotype) -> bool:
    return WILD in genotype and len(set(genotype)) == 2 and locus.look(genotype).key == WILD


def _name(allele: str) -> str:
    return allele.replace("_", " ")
