"""What a season is planned from: animals, what is wanted, what is possible; and what is chosen.

Values only: whoever asks reads them from the record, as far as this reader may see it. Nothing
here is a rule about animals that exist; an animal is named by any key that sorts.
"""

from collections.abc import Mapping
from typing import Literal

from msgspec import Struct

from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.domain.genetics.young import ClutchSizes, WantedYoung

Genotypes = Mapping[str, Genotype]
"""By the key of the locus."""
Sample = Mapping[str, Genotypes]
"""One joint draw of what all animals carry, by animal."""

Availability = Literal[
    "ready", "offered", "on_loan", "for_sale", "resting", "too_young", "too_light", "ended"
]
"""``ready``: one's own, or a partner's who plans along; ``offered``: another keeper offers it."""


class BreedingAnimal(Struct, frozen=True):
    """An animal that may be planned. ``p_male`` and ``p_male_strict`` are the chances of male by
    both readings of its standing; ``young`` the chances of so many young of one clutch or litter,
    were it a dam, none where they sum to less than one; ``carries`` the chances of its genotypes by
    locus, used where the season has no joint samples. ``serves``: females it can serve, were it a
    male, None: as the limits have it."""

    animal: str
    species: str
    p_male: float
    p_male_strict: float
    young: ClutchSizes
    carries: Mapping[str, Mapping[Genotype, float]] = {}
    availability: Availability = "ready"
    serves: int | None = None


class Want(Struct, frozen=True):
    """Such ``young`` are wanted, from a parent of this ``line``; empty is any. Each is worth
    ``weight``, above nothing, up to ``most`` of them; None: every one. A young that meets two wants
    counts for both."""

    key: str
    weight: float
    young: WantedYoung = WantedYoung()
    line: frozenset[str] = frozenset()
    most: int | None = None


class Limits(Struct, frozen=True):
    """What is possible. ``kinship``: of two animals at most, None: no matter; ``clutches`` and
    ``young``: room for so many, the second as expected; ``use``: what else than animals that are
    ready may be proposed; ``caution``: the share of the worst tenth of seasons in what is aimed
    at, 0 for the expected value alone, at most 1. ``least``: what a pairing must bring."""

    females_per_male: int
    kinship: float | None = None
    clutches: int | None = None
    young: float | None = None
    use: frozenset[Availability] = frozenset()
    caution: float = 0.0
    least: float = 0.0


class Chosen(Struct, frozen=True, order=True):
    """A pairing of a plan: the first is planned as the male, the second as the female."""

    sire: str
    dam: str


SeasonPlan = tuple[Chosen, ...]


class Barred(Struct, frozen=True):
    """A pairing that is never proposed, whatever it might bring, and why."""

    sire: str
    dam: str
    why: str


class SeasonInput(Struct, frozen=True):
    """All that a season is planned from. ``kinship`` by the two animals, the lesser key first, 0
    where none is given; ``fixed`` is kept by whatever is proposed; ``samples`` are joint draws of
    what the animals carry, taken in turn. The same ``seed`` and number of ``scenarios`` give the
    same answer, whatever the order of animals and wants."""

    animals: tuple[BreedingAnimal, ...]
    wants: tuple[Want, ...]
    limits: Limits
    loci: tuple[Locus, ...] = ()
    kinship: Mapping[tuple[str, str], float] = {}
    fixed: SeasonPlan = ()
    barred: tuple[Barred, ...] = ()
    samples: tuple[Sample, ...] = ()
    scenarios: int = 200
    seed: int = 1
