"""How often calls repeat what had been concluded before: those said to be blind (ω), and those
of people who knew, all together (η).

Either is the share x that makes what was said of settled animals likeliest by the formula of
standings itself (:mod:`~scalewitness.domain.sexing.formulas.shared_errors`), which is linear in
it: where a is the chance of what was said had nobody followed so, and b had they,

    P = (1 − x)·a + x·b

is taken of each blind call that was made after another's conclusion, given the calls before it,
for ω; and of each animal that people checked who knew an answer, for η. Together with what was
held before, a Beta distribution as in :mod:`~scalewitness.domain.sexing.learning.shares`; and
the proof may be wrong. An answer that was wrong tells most: few repeat it by chance.
"""

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt
from msgspec.structs import replace
from scipy.optimize import brentq, minimize_scalar
from scipy.special import ndtri

from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.formulas import Formula
from scalewitness.domain.sexing.formulas.shared_errors import FOLLOWED, SharedErrors
from scalewitness.domain.sexing.learning.influence import FloatArray, enough, influence
from scalewitness.domain.sexing.learning.numbers import Estimate, LearnedNumber, learned_number
from scalewitness.domain.sexing.learning.rules import rule
from scalewitness.domain.sexing.learning.settled import (
    KNOWN_DEPTHS,
    LEARNED_OF,
    Basis,
    Look,
    SettledAnimal,
    basis,
)
from scalewitness.domain.sexing.likelihood import mix, total
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import EMPTY, Beta
from scalewitness.domain.sexing.sessions import BLIND_FOLLOWED, Weigher, last_conclusive
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.weighed import WeighedCall

BoolArray = npt.NDArray[np.bool_]

_EDGE: Final = 1e-9
"""As near to nought, or to all, as a share is tried."""


class Trial(NamedTuple):
    """Looks at one animal that may all have followed, how much likelier what was said is if they
    did (the natural log of b over a), and whether what any of them may have followed was wrong."""

    looks: tuple[Look, ...]
    likelier: float
    astray: bool


class Following(NamedTuple):
    """What was learned, where enough animals tell: ω, and whether that anybody followed so is
    ``beyond_chance``; η."""

    blind: tuple[LearnedNumber, ...]
    beyond_chance: bool
    knowing: tuple[LearnedNumber, ...]


def learn_following(
    animals: Sequence[SettledAnimal],
    kinds: Mapping[str, Taxon],
    parameters: Parameters,
    held: Parameters,
) -> Following:
    """``parameters`` are what was learned so far, ``held`` those that η is drawn towards; ω is
    drawn towards none. Older versions know of neither."""
    if FOLLOWED not in parameters.base.numbers:
        return Following((), False, ())
    all_or_none = [_with_followed(parameters.base, share) for share in (_EDGE, 1 - _EDGE)]
    blind: list[Trial] = []
    knowing: list[Trial] = []
    for number, of in enumerate(animals):
        checked = CheckedAnimal(
            number, of, Weigher(kinds[of.species], EMPTY, parameters, parameters.base)
        )
        blind.extend(checked.blind())
        knowing.extend(checked.knowing(*all_or_none))
    return Following(*_of_blind(blind), _of_knowing(knowing, held))


def _with_followed(numbers: ParameterSet, share: float) -> Formula:
    given = {**numbers.numbers, FOLLOWED: replace(numbers.numbers[FOLLOWED], value=share)}
    return SharedErrors(ParameterSet(MappingProxyType(given)))


def _of_blind(trials: Sequence[Trial]) -> tuple[tuple[LearnedNumber, ...], bool]:
    of = _basis(trials)
    if not _tell_enough(of):
        return (), False
    share = Share(trials, (0.0, rule("weight", BLIND_FOLLOWED)), BLIND_FOLLOWED)
    chance = float(ndtri(1 - rule("chance", BLIND_FOLLOWED))) ** 2 / 2
    return (learned_number(BLIND_FOLLOWED, share.estimate(), of),), share.gain > chance


def _of_knowing(trials: Sequence[Trial], held: Parameters) -> tuple[LearnedNumber, ...]:
    def found(numbers: ParameterSet) -> Estimate:
        mean, weight = numbers.value(FOLLOWED), rule("weight", FOLLOWED)
        before = mean * weight, (1 - mean) * weight
        return Share(trials, before, FOLLOWED, rule("least", FOLLOWED)).estimate()

    of = _basis(trials)
    if not _tell_enough(of):
        return ()
    base, warier = found(held.base), found(held.pessimistic)
    return (learned_number(FOLLOWED, base._replace(high=max(base.high, warier.value)), of),)


def _basis(trials: Sequence[Trial]) -> Basis:
    return basis([look for trial in trials for look in trial.looks])


def _tell_enough(of: Basis) -> bool:
    return enough(of.males + of.females, of.collections, of.examiners)


# --- what was said of one animal ------------------------------------------------------------


class CheckedAnimal:
    """The calls on one settled animal, weighed with all that was learned so far. Those of whoever
    proved its sex were heard like any, and tell nothing here."""

    def __init__(self, number: int, of: SettledAnimal, weigher: Weigher) -> None:
        self.number, self.of, self.weigher = number, of, weigher
        self.calls = of.in_order
        weighed = self.weigher.weigh_all(self.calls)
        self.weighed = [one for one in weighed if one.call.examiner not in of.provers]

    def blind(self) -> Iterator[Trial]:
        formula = self.weigher.formula
        for n, one in enumerate(self.weighed):
            if self._may_have_followed(one):
                before = self.weighed[:n]
                a, b = (
                    self._chance([*before, replace(one, unblind=share)], formula)
                    for share in (0.0, 1.0)
                )
                astray = one.heard != self.of.sex
                yield Trial((Look(self.number, self.of, one.call),), b - a, astray)

    def _may_have_followed(self, one: WeighedCall) -> bool:
        """Only what was found by another method: an animal that misleads one misleads by it all."""
        if one.heard is None or one.method not in LEARNED_OF or not self._tells(one):
            return False
        source = last_conclusive(one.call, self.calls[: self.calls.index(one.call)])
        return source is not None and source.method != one.method

    def knowing(self, none: Formula, all_of_them: Formula) -> Iterator[Trial]:
        knew = [one for one in self.weighed if one.knowing]
        if knew and all(map(self._tells, knew)):
            a, b = (self._chance(self.weighed, formula) for formula in (none, all_of_them))
            looks = tuple([Look(self.number, self.of, one.call) for one in knew])
            astray = any(one.call.anchored_to != self.of.sex for one in knew)
            yield Trial(looks, b - a, astray)

    def _tells(self, one: WeighedCall) -> bool:
        """Where depths rest on little, many repeat each other though nobody followed."""
        known = one.method != "probing" or self.weigher.taxon.ground in KNOWN_DEPTHS
        return known and one.reading.informative and not one.hearsay

    def _chance(self, weighed: Sequence[WeighedCall], formula: Formula) -> float:
        """Log chance of what these say of the settled sex, up to a constant."""
        sessions = replace(self.weigher, _known={}, _own={}).sessions(weighed)
        male, female = total(formula.combined([part for one in sessions for part in one.parts]))
        own, other = (male, female) if self.of.sex == "male" else (female, male)
        return mix(own, other, rule("proof", "wrong"))


# --- the fit --------------------------------------------------------------------------------


class Share:
    """The posterior of x. An animal's looks share its weight: whoever looks at every animal takes
    away little of anybody's."""

    def __init__(
        self, trials: Sequence[Trial], held: Beta, name: str, least: float = _EDGE
    ) -> None:
        looks = [look for trial in trials for look in trial.looks]
        self._examiners = [look.call.examiner for look in looks]
        self._homes = [look.of.collection for look in looks]
        sizes = np.array([len(trial.looks) for trial in trials])
        of = np.repeat(np.arange(sizes.size), sizes)
        astray = np.array([trial.astray for trial in trials])[of]
        self._likelier = np.array([trial.likelier for trial in trials])[of]
        self._each: FloatArray = self._weights(astray, sum(held), name) / sizes[of]
        self._held, self._least = held, least
        self.likeliest = self._top()

    def _weights(self, astray: BoolArray, before: float, name: str) -> FloatArray:
        """What each look counts for. Those who would have followed a wrong answer tell most, so
        nobody's of these are weighed against all the others."""
        weights = np.zeros(astray.size)
        for kind in (True, False):
            own = np.flatnonzero(astray == kind)
            examiners, homes = ([of[n] for n in own] for of in (self._examiners, self._homes))
            if own.size:
                most, alike = rule("most", name), rule("alike", "error")
                weights[own] = influence(examiners, homes, before, most, alike)
        return weights

    def height(self, x: float) -> float:
        """The log posterior at x, up to a constant."""
        a, b = self._held
        return float(self._each @ self._likelier_at(x) + a * np.log(x) + b * np.log1p(-x))

    def _likelier_at(self, x: float) -> FloatArray:
        """By how much likelier each of what was said is than had nobody followed."""
        return np.asarray(np.logaddexp(np.log1p(-x), np.log(x) + self._likelier))

    @property
    def gain(self) -> float:
        """By how much likelier what was said is than had nobody followed, whichever examiner or
        keeper is left out."""
        whole = self.height(self.likeliest) - self.height(self._least)
        each = self._each * (self._likelier_at(self.likeliest) - self._likelier_at(self._least))
        return whole - max(_largest(own, each) for own in (self._examiners, self._homes))

    def estimate(self) -> Estimate:
        """The likeliest, and where the posterior has fallen as far as 95 in 100 allow."""
        fall = float(ndtri((1 + LEVEL) / 2)) ** 2 / 2
        floor = self.height(self.likeliest) - fall

        def end(edge: float) -> float:
            if self.height(edge) >= floor:
                return edge
            return float(brentq(lambda x: self.height(x) - floor, edge, self.likeliest))

        return Estimate(self.likeliest, end(self._least), end(1 - _EDGE))

    def _top(self) -> float:
        """The posterior has one top; the search never tries the ends of its range."""
        ends = self._least, 1 - _EDGE
        found = minimize_scalar(
            lambda x: -self.height(x), bounds=ends, method="bounded", options={"xatol": 1e-7}
        )
        return max((*ends, float(found.x)), key=self.height)


def _largest(accounts: Sequence[str], each: FloatArray) -> float:
    """Of the sums by account."""
    of = np.unique(accounts, return_inverse=True)[1]
    return float(np.bincount(of, each).max())
