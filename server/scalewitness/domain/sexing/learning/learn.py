"""Everything that is learned, one after the other: what a depth is read as comes first, since
the rest is learned from what depths say."""

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Sequence
from typing import get_args

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.findings import bias_number, reading
from scalewitness.domain.sexing.learning.biases import learn_biases
from scalewitness.domain.sexing.learning.depths import learn_depths
from scalewitness.domain.sexing.learning.following import learn_following
from scalewitness.domain.sexing.learning.influence import enough
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, learned_number, put_in
from scalewitness.domain.sexing.learning.settled import (
    IMPRESSIONS,
    KNOWN_DEPTHS,
    LEARNED_OF,
    Look,
    SettledAnimal,
    basis,
    looks_at,
    ordered,
    what_it_says,
)
from scalewitness.domain.sexing.learning.shares import ReadLook, Shares, fit, misleading
from scalewitness.domain.sexing.learning.sizes import learn_sizes
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import error_number
from scalewitness.domain.sexing.sessions import unblind
from scalewitness.domain.sexing.sizes import sizes_of
from scalewitness.domain.sexing.taxa import Taxon, as_learned, taxon

_SEXES: tuple[Sex, ...] = get_args(Sex)


def learn(settled: Sequence[SettledAnimal], parameters: Parameters) -> tuple[LearnedNumber, ...]:
    """Every number that so many settled animals tell something about, by name. ``parameters`` are
    what each is drawn towards: those released, nothing learned in them. The order of animals and
    checks does not matter."""
    animals = ordered(settled)
    looks = looks_at(animals)
    depths = _depths(looks, parameters)
    kinds = _kinds(animals, parameters, depths)
    known = {key: kind for key, kind in kinds.items() if kind.ground in KNOWN_DEPTHS}
    biases = tuple(learn_biases(looks, known, parameters.base))
    so_far = put_in(parameters, (*depths, *biases))
    rest = _errors_and_following(animals, looks, kinds, so_far)
    return tuple(sorted((*depths, *biases, *rest), key=lambda one: one.name))


def _errors_and_following(
    animals: Sequence[SettledAnimal],
    looks: Sequence[Look],
    kinds: dict[str, Taxon],
    parameters: Parameters,
) -> tuple[LearnedNumber, ...]:
    """Errors as if whoever is said to be blind were, then who followed. Whoever followed misread
    nothing, so both once more with that; but if it is not beyond chance, blind is blind."""
    errors = tuple(_errors(looks, kinds, parameters))
    found = learn_following(animals, kinds, put_in(parameters, errors), parameters)
    if not found.blind:
        return *errors, *found.knowing
    again = tuple(_errors(looks, kinds, put_in(parameters, found.blind)))
    so_far = put_in(parameters, (*again, *found.blind))
    after = learn_following(animals, kinds, so_far, parameters)
    if after.beyond_chance:
        return *again, *after.blind, *after.knowing
    return *errors, *found.knowing


def _depths(looks: Sequence[Look], parameters: Parameters) -> tuple[LearnedNumber, ...]:
    """First of species whose depths are published. How often people err with those is what the
    depths of others are scored with: a doubt about the species must not make up for it."""
    kinds = _kinds((look.of for look in looks), parameters, ())
    published = [look for look in looks if kinds[look.of.species].ground == "published"]
    others = [look for look in looks if kinds[look.of.species].ground != "published"]
    first = tuple(learn_depths(published, parameters))
    kinds = _kinds((look.of for look in published), parameters, first)
    rates = tuple(_errors(published, kinds, put_in(parameters, first)))
    return *first, *learn_depths(others, put_in(parameters, rates))


def _kinds(
    animals: Iterable[SettledAnimal], parameters: Parameters, depths: Sequence[LearnedNumber]
) -> dict[str, Taxon]:
    numbers = put_in(parameters, depths).base
    species = {one.species for one in animals}
    return {key: as_learned(taxon(key, parameters.version), numbers) for key in species}


def _errors(
    looks: Sequence[Look], kinds: dict[str, Taxon], parameters: Parameters
) -> Iterator[LearnedNumber]:
    numbers = parameters.base
    by_size: dict[str, list[tuple[Look, float, float]]] = {}
    for method in LEARNED_OF:
        reads = _reads([look for look in looks if look.call.method == method], kinds, numbers)
        for sex in _SEXES:
            own = [read for read in reads if read.look.sex == sex]
            if own:
                found = fit(own, method, sex, parameters)
                yield from _shares(own, found, method, sex)
                _sized(own, found, kinds, numbers, by_size)
    yield from learn_sizes(by_size)
    yield from _impressions(looks, kinds, parameters)


def _impressions(
    looks: Sequence[Look], kinds: dict[str, Taxon], parameters: Parameters
) -> Iterator[LearnedNumber]:
    for method in IMPRESSIONS:
        own = _reads([look for look in looks if look.call.method == method], kinds, parameters.base)
        for sex in _SEXES:
            reads = [read for read in own if read.look.sex == sex]
            of = basis([read.look for read in reads])
            if enough(of.males + of.females, of.collections, of.examiners):
                found = misleading(reads, method, sex, parameters)
                if found is not None:
                    yield learned_number(f"mislead.{method}.{sex}", found, of)


def _reads(looks: Iterable[Look], kinds: dict[str, Taxon], numbers: ParameterSet) -> list[ReadLook]:
    known: dict[Hashable, ReadLook | None] = {}
    found = []
    for look in looks:
        alike = what_it_says(look), numbers.get(bias_number(look.call.examiner), 0.0)
        if alike not in known:
            known[alike] = _read(look, kinds, numbers)
        read = known[alike]
        if read is not None:
            share = unblind(numbers, look.call.method) if look.heard else 0.0
            found.append(read._replace(look=look, unblind=share))
    return found


def _read(look: Look, kinds: dict[str, Taxon], numbers: ParameterSet) -> ReadLook | None:
    """None of a check that says nothing, or of depths nobody can judge."""
    kind = kinds[look.of.species]
    found = reading(look.call, kind, numbers)
    if not found.informative or (found.passes and kind.ground not in KNOWN_DEPTHS):
        return None
    return ReadLook(look, found.pair, numbers.value(f"sureness.{look.call.sureness}"))


def _shares(
    reads: Sequence[ReadLook], found: Shares, method: Method, sex: Sex
) -> Iterator[LearnedNumber]:
    of = basis(_checked_twice([read.look for read in reads]))
    if enough(of.males + of.females, of.collections, of.examiners):
        yield learned_number(f"mislead.{method}.{sex}", found.mislead, of)
    for role, estimate in found.errors.items():
        of = basis([read.look for read in reads if read.look.call.role == role])
        if enough(of.males + of.females, of.collections, of.examiners):
            yield learned_number(error_number(role, method, sex), estimate, of)


def _checked_twice(looks: Sequence[Look]) -> list[Look]:
    """Only where two people looked does a misleading animal differ from a misread one."""
    times = Counter(look.animal for look in looks)
    return [look for look in looks if times[look.animal] > 1]


def _sized(
    reads: Sequence[ReadLook],
    found: Shares,
    kinds: dict[str, Taxon],
    numbers: ParameterSet,
    by_size: dict[str, list[tuple[Look, float, float]]],
) -> None:
    for n, read in enumerate(reads):
        weight = float(found.weight[n])
        seen, expected = weight * float(found.misread[n]), weight * float(found.expected[n])
        for name in sizes_of(read.look.call, kinds[read.look.of.species], numbers):
            if not name.endswith(tuple(f".{sex}" for sex in _SEXES if sex != read.look.sex)):
                by_size.setdefault(name, []).append((read.look, seen, expected))
