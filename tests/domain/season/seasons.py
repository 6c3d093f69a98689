"""Invented seasons to plan: ball pythons, and what they carry at loci of the sheet."""

import random

from scalewitness.domain.genetics.traits import locus
from scalewitness.domain.genetics.young import WantedYoung
from scalewitness.domain.season.values import (
    BreedingAnimal,
    Chosen,
    Limits,
    SeasonInput,
    Want,
)

SPECIES = "python_regius"
ALBINO, PIEBALD, SPIDER, GLOW = (
    locus(SPECIES, key) for key in ("albino", "piebald", "spider", "coral_glow")
)
PLAIN, HET, VISUAL = ("wild", "wild"), ("wild", "albino"), ("albino", "albino")
SIX = {6: 1.0}
LIMITS = Limits(females_per_male=3)
ALBINOS = Want("albinos", 1.0, WantedYoung(genotypes={"albino": frozenset({VISUAL})}))


def animal(key, p_male, genotype=None, **more):
    """One that carries just that at the albino locus; without it nothing is known."""
    carries = {"albino": {genotype: 1.0}} if genotype else {}
    given = {"young": SIX, "carries": carries, "p_male_strict": 0.5 + (p_male - 0.5) * 0.9}
    return BreedingAnimal(key, SPECIES, p_male, **{**given, **more})


def season(*animals, wants=(ALBINOS,), limits=LIMITS, loci=(ALBINO,), **more):
    return SeasonInput(tuple(animals), tuple(wants), limits, tuple(loci), **more)


def drawn_season(seed, males=3, females=5, wants=3, scenarios=40, **limits):
    """Any season of that size: uncertain sexes, two loci, wants with and without an end."""
    rng = random.Random(seed)  # noqa: S311  a drawn season, no secret
    animals = [
        animal(
            f"{'m' if n < males else 'f'}{n}",
            rng.choice((0.9, 0.97, 1.0) if n < males else (0.0, 0.02, 0.2)),
            young={rng.randint(3, 6): 0.5, rng.randint(7, 9): 0.4},
            carries={one.key: _carried(rng, one.alleles[1]) for one in (ALBINO, PIEBALD)},
        )
        for n in range(males + females)
    ]
    return season(
        *animals,
        wants=[_want(rng, n) for n in range(wants)],
        limits=Limits(**{"females_per_male": 2, "least": 0.01, **limits}),
        loci=(ALBINO, PIEBALD),
        scenarios=scenarios,
        seed=seed,
    )


def _carried(rng, allele):
    plain, het, both = ("wild", "wild"), ("wild", allele), (allele, allele)
    return rng.choice([{plain: 1.0}, {het: 1.0}, {both: 1.0}, {plain: 1 / 3, het: 2 / 3}])


def _want(rng, n):
    allele = rng.choice(("albino", "piebald"))
    kinds = [(("wild", allele), (allele, allele)), ((allele, allele),)]
    return Want(
        f"want {n}",
        rng.choice((0.5, 1.0, 3.0)),
        WantedYoung(rng.choice((None, False)), genotypes={allele: frozenset(rng.choice(kinds))}),
        most=rng.choice((None, 1, 4)),
    )


def pair(sire, dam):
    return Chosen(sire, dam)
