"""Seasons as they may turn out: drawn sexes, genotypes, clutches and young.

In each scenario every animal has a sex and genotypes, and every female a clutch and luck with what
her young become. Draws are spread evenly over their distribution (Latin hypercube, McKay, Beckman
and Conover 1979): of 200 scenarios an animal that is a female with 2 in 100 is one in about four.
A draw hangs on the animal's key and the seed alone, so that no answer depends on the order of
anything, and two plans are compared over the same seasons.

The luck is the clutch's, whoever sires it: two sires who carry the same are worth the same.
"""

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from hashlib import blake2b
from itertools import accumulate
from math import comb

from msgspec.structs import replace

from scalewitness.domain.genetics.splitmix import STEP, finalized, share
from scalewitness.domain.genetics.traits import Genotype
from scalewitness.domain.season.crossing import Crossing
from scalewitness.domain.season.values import (
    BreedingAnimal,
    Chosen,
    Genotypes,
    SeasonInput,
    Want,
)

_Kinds = tuple[tuple[Genotypes, ...], tuple[int, ...]]


class Scenarios:
    """``count`` scenarios of a season. ``strict``: with the strict reading of every sex;
    ``carrying``: what is supposed of what some animals carry, by animal and locus."""

    def __init__(
        self,
        season: SeasonInput,
        *,
        count: int | None = None,
        seed: int | None = None,
        strict: bool = False,
        carrying: Mapping[tuple[str, str], Genotype] | None = None,
    ) -> None:
        self.season = season
        self.count = season.scenarios if count is None else count
        self.seed = season.seed if seed is None else seed
        self.strict = strict
        self.animals = {one.animal: one for one in season.animals}
        self.wants = tuple(sorted(season.wants, key=lambda one: one.key))
        self.crossing = Crossing(season.loci)
        self.bearing = {one.key: self.crossing.bearing_on(one) for one in self.wants}
        self._carrying = dict(carrying or {})
        self._drawn: dict[tuple[str, ...], tuple[float, ...]] = {}
        self._chances: dict[tuple[object, ...], float] = {}
        self._sizes: dict[str, tuple[int, ...]] = {}
        self._males: dict[str, tuple[bool, ...]] = {}
        self._at: dict[tuple[str, str], Sequence[Genotype | None]] = {}
        self._carried: dict[tuple[str, tuple[str, ...]], _Kinds] = {}
        self._likeliest: dict[tuple[str, tuple[str, ...]], Genotypes] = {}
        self._young: dict[tuple[Chosen, str], Sequence[tuple[int, int]]] = {}

    def supposing(self, animal: str, *, male: bool) -> "Scenarios":
        """The same seasons, were the animal of that sex in every one of them."""
        p = float(male)
        animals = (
            replace(one, p_male=p, p_male_strict=p) if one.animal == animal else one
            for one in self.season.animals
        )
        return self._but(animal, replace(self.season, animals=tuple(animals)), self._carrying)

    def carrying(self, animal: str, locus: str, genotype: Genotype) -> "Scenarios":
        """The same seasons, were this what the animal carries; others carry what they did."""
        return self._but(animal, self.season, {**self._carrying, (animal, locus): genotype})

    def _but(
        self, animal: str, season: SeasonInput, carrying: Mapping[tuple[str, str], Genotype]
    ) -> "Scenarios":
        """With what was worked out of all animals but this one."""
        other = self._alike(season, carrying, strict=self.strict)
        other._males = {key: one for key, one in self._males.items() if key != animal}
        other._at = {key: one for key, one in self._at.items() if key[0] != animal}
        other._carried = {key: one for key, one in self._carried.items() if key[0] != animal}
        other._young = {
            key: one for key, one in self._young.items() if animal not in (key[0].sire, key[0].dam)
        }
        return other

    def strictly(self) -> "Scenarios":
        """The same seasons, with the strict reading of every sex."""
        return self._alike(self.season, self._carrying, strict=True)

    def _alike(
        self, season: SeasonInput, carrying: Mapping[tuple[str, str], Genotype], *, strict: bool
    ) -> "Scenarios":
        """With the same draws, and what hangs on no animal's sex."""
        other = Scenarios(
            season, count=self.count, seed=self.seed, strict=strict, carrying=carrying
        )
        other.crossing = self.crossing
        other._drawn, other._chances, other._sizes = self._drawn, self._chances, self._sizes
        return other

    def has(self, pair: Chosen) -> bool:
        """Whether both its animals are among those of the season."""
        return pair.sire in self.animals and pair.dam in self.animals

    def males(self, animal: str) -> tuple[bool, ...]:
        """Whether it is a male, by scenario."""
        if animal not in self._males:
            self._males[animal] = self._males_of(self.animals[animal])
        return self._males[animal]

    def _males_of(self, one: BreedingAnimal) -> tuple[bool, ...]:
        # From the favoured sex, so that mirrored sexes are drawn as mirrored.
        p_male = one.p_male_strict if self.strict else one.p_male
        favoured = one.p_male >= 0.5
        wrong = 1 - p_male if favoured else p_male
        return tuple((u < wrong) != favoured for u in self.luck("sex", one.animal))

    def carried(self, animal: str, keys: tuple[str, ...]) -> _Kinds:
        """What the animal has at these loci in some scenario, each once, and which by scenario."""
        if (animal, keys) not in self._carried:
            found: dict[tuple[Genotype | None, ...], int] = {}
            columns = [self.genotypes(animal, key) for key in keys]
            rows = zip(*columns, strict=True) if columns else [()] * self.count
            which = tuple(found.setdefault(row, len(found)) for row in rows)
            kinds = tuple(
                {key: g for key, g in zip(keys, row, strict=True) if g is not None} for row in found
            )
            self._carried[animal, keys] = kinds, which
        return self._carried[animal, keys]

    def likeliest(self, animal: str, keys: tuple[str, ...]) -> Genotypes:
        """What it has at these loci in most scenarios."""
        if (animal, keys) not in self._likeliest:
            kinds, which = self.carried(animal, keys)
            self._likeliest[animal, keys] = kinds[max(set(which), key=which.count)]
        return self._likeliest[animal, keys]

    def genotypes(self, animal: str, key: str) -> Sequence[Genotype | None]:
        """What it has at one locus, by scenario; None where nothing is given."""
        if (animal, key) not in self._at:
            self._at[animal, key] = tuple(self._genotypes(self.animals[animal], key))
        return self._at[animal, key]

    def _genotypes(self, one: BreedingAnimal, key: str) -> Sequence[Genotype | None]:
        alone = {male: self.crossing.has_once(key, male=male) for male in (True, False)}
        lengths = [1 if alone[male] else 2 for male in self.males(one.animal)]
        supposed = self._carrying.get((one.animal, key))
        if supposed is not None:
            return [supposed if len(supposed) == length else None for length in lengths]
        if self.season.samples:
            return self._sampled(one.animal, key, lengths)
        chances = sorted(one.carries.get(key, {}).items())
        of = {length: _of_length(chances, length) for length in (1, 2)}
        luck = self.luck("carries", one.animal, key)
        return [_at(of[length], u) for length, u in zip(lengths, luck, strict=True)]

    def _sampled(self, animal: str, key: str, lengths: Sequence[int]) -> Sequence[Genotype | None]:
        """From the joint samples in turn; where one has the animal of the other sex, and the locus
        another number of times, the next that has it of this one."""
        drawn = [one.get(animal, {}).get(key) for one in self.season.samples]
        found: list[Genotype | None] = []
        for n, length in enumerate(lengths):
            turn = (drawn[(n + step) % len(drawn)] for step in range(len(drawn)))
            found.append(next((one for one in turn if one and len(one) == length), None))
        return found

    def sizes(self, female: str) -> tuple[int, ...]:
        """How many young her clutch has, by scenario."""
        if female not in self._sizes:
            self._sizes[female] = self._sizes_of(self.animals[female])
        return self._sizes[female]

    def _sizes_of(self, one: BreedingAnimal) -> tuple[int, ...]:
        chances = sorted(one.young.items())
        ends = list(accumulate(p for _, p in chances))
        sizes = [n for n, _ in chances]
        luck = self.luck("size", one.animal)
        return tuple(sizes[at] if (at := bisect_right(ends, u)) < len(sizes) else 0 for u in luck)

    def chance(self, want: Want, sire: Genotypes, dam: Genotypes) -> float:
        """That one young meets the want."""
        key = (want.key, *sire.items(), None, *dam.items())
        if key not in self._chances:
            self._chances[key] = self.crossing.chance(want, sire, dam)
        return self._chances[key]

    def works(self, pair: Chosen) -> list[bool]:
        """By scenario, whether the two are a male and a female, whichever is which."""
        return [
            one != other
            for one, other in zip(self.males(pair.sire), self.males(pair.dam), strict=True)
        ]

    def wanted_young(self, pair: Chosen, want: Want) -> Sequence[tuple[int, int]]:
        """How many of the pair's young meet the want, if its clutch is its alone: scenarios with
        any, and the number."""
        key = (pair, want.key)
        if key not in self._young:
            self._young[key] = tuple(self._counted(pair, want))
        return self._young[key]

    def _counted(self, pair: Chosen, want: Want) -> Iterator[tuple[int, int]]:
        if want.line and not {pair.sire, pair.dam} & want.line:
            return
        for male, female in ((pair.sire, pair.dam), (pair.dam, pair.sire)):
            both = enumerate(zip(self.males(male), self.males(female), strict=True))
            where = [n for n, (is_male, other) in both if is_male and not other]
            if not where:
                continue
            keys = self.bearing[want.key]
            (his, his_which), (hers, her_which) = (
                self.carried(animal, keys) for animal in (male, female)
            )
            sizes, luck = self.sizes(female), self.luck("young", female, want.key)
            for n in where:
                chance = self.chance(want, his[his_which[n]], hers[her_which[n]])
                number = bisect_right(binomial(sizes[n], chance), luck[n])
                if number:
                    yield n, number

    def luck(self, *of: str) -> tuple[float, ...]:
        """Even draws between 0 and 1, one in each of ``count`` parts, in an order of its own."""
        if of not in self._drawn:
            self._drawn[of] = _spread(_key(self.seed, of), self.count)
        return self._drawn[of]


@cache
def binomial(n: int, p: float) -> tuple[float, ...]:
    """The chances of at most 0, 1, … n−1 among n."""
    each = (comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(n))
    return tuple(accumulate(each))


def _key(seed: int, of: tuple[str, ...]) -> int:
    text = "\0".join((str(seed), *of)).encode()
    return int.from_bytes(blake2b(text, digest_size=8).digest(), "big")


def _spread(key: int, count: int) -> tuple[float, ...]:
    words = [finalized(key + n * STEP) for n in range(count)]
    found = [0.0] * count
    for rank, n in enumerate(sorted(range(count), key=words.__getitem__)):
        found[n] = (rank + share(finalized(words[n]))) / count
    return tuple(found)


def _of_length(
    chances: Sequence[tuple[Genotype, float]], length: int
) -> Sequence[tuple[Genotype, float]]:
    kept = [(one, p) for one, p in chances if len(one) == length and p > 0]
    whole = sum(p for _, p in kept)
    return [(one, p / whole) for one, p in kept]


def _at(chances: Sequence[tuple[Genotype, float]], u: float) -> Genotype | None:
    for one, p in chances:
        u -= p
        if u < 0:
            return one
    return chances[-1][0] if chances else None
