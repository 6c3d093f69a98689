"""What simulated animals and their standings come to: how often probabilities come true, how many
are verified, and how often that is wrong."""

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.reliability import Bin, hold_if_right, reliability
from bench.second_method import SecondMethod, second_method, together
from bench.simulated import SEXES, Drawn
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.examiners.posterior import (
    Determination,
    Proof,
    error_rate,
    settle,
    settled,
)
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import error_prior


class Scores(NamedTuple):
    brier: float
    bins: list[Bin]
    verified: dict[Sex, tuple[int, int]]
    methods: dict[str, tuple[int, int]]
    probable: int
    probable_wrong: int
    examiners: int
    covered: int
    causes: Counter[str]
    second: SecondMethod
    chance: tuple[int, ...]
    """How many bins hold of each of so many right models' probabilities."""

    @property
    def hold(self) -> int:
        """How many bins do."""
        return sum(one.holds for one in self.bins)

    @property
    def all_hold(self) -> bool:
        """Whether all do at once, as a right model's do in 95 of 100 draws."""
        level = 1 - (1 - LEVEL) / max(1, len(self.bins))
        return all(one.holds_at(level) for one in self.bins)

    @property
    def too_sure(self) -> int:
        """How many claim more than comes true."""
        return sum(one.inside == "too sure" for one in self.bins)


def scores(drawn: Drawn, standings: Sequence[Standing], parameters: Parameters) -> Scores:
    """How the standings compare with what the animals are."""
    p_male, male = males(drawn, standings)
    wrong = [
        one.favoured is not None and one.favoured != sex for one, sex in _pairs(drawn, standings)
    ]
    by_word = {
        word: [w for one, w in zip(standings, wrong, strict=True) if one.label.startswith(word)]
        for word in ("verified", "probable")
    }
    examiners, covered = coverage(drawn, parameters)
    return Scores(
        float(np.mean((p_male - male) ** 2)),
        reliability(p_male, male),
        {sex: _verified(drawn, standings, sex) for sex in SEXES},
        _methods(drawn, standings),
        len(by_word["probable"]),
        sum(by_word["probable"]),
        examiners,
        covered,
        Counter(cause for one in _wrong(drawn, standings) for cause in one),
        second_method(drawn, standings),
        tuple(hold_if_right(p_male, np.random.default_rng(len(p_male)))),
    )


def _wrong(drawn: Drawn, standings: Sequence[Standing]) -> Iterator[frozenset[str]]:
    """Of each animal verified as what it is not: what was in the way at the examinations that
    concluded so, and that its picture deceived by itself where nothing was."""
    both = zip(drawn.records, _pairs(drawn, standings), strict=True)
    for record, (one, truth) in both:
        if one.label.startswith("verified") and one.favoured != truth:
            yield frozenset(
                cause
                for call in record.evidence
                if call.conclusion == one.favoured and call.method not in DEFAULT_POLICY.excluded
                for cause in drawn.causes[call.call] or ("nothing but what was found",)
            )


def _verified(drawn: Drawn, standings: Sequence[Standing], sex: Sex) -> tuple[int, int]:
    """How many are verified as of that sex, and how many of them are not of it."""
    found = [truth for one, truth in _pairs(drawn, standings) if one.label == f"verified {sex}"]
    return len(found), sum(truth != sex for truth in found)


def _methods(drawn: Drawn, standings: Sequence[Standing]) -> dict[str, tuple[int, int]]:
    """Of the animals verified as males and as females, how many by which methods: those that
    concluded that sex."""
    found: dict[str, tuple[int, int]] = {}
    for record, one in zip(drawn.records, standings, strict=True):
        if one.label.startswith("verified"):
            for method in {c.method for c in record.evidence if c.conclusion == one.favoured}:
                males, females = found.get(method, (0, 0))
                male = one.favoured == "male"
                found[method] = males + male, females + (not male)
    return found


def coverage(drawn: Drawn, parameters: Parameters) -> tuple[int, int]:
    """Of the error rates of keepers' probing that anything settled speaks to: how many, and
    for how many the 95 % interval holds the true one, misleading animals included."""
    calls, proofs = [], []
    for record in drawn.records:
        for call in record.evidence:
            animal = call.call.partition("-")[0]
            if call.method in {"dna", "endoscopy"} and call.conclusion != "undetermined":
                proofs.append(Proof(animal, call.examiner, call.conclusion))
            elif call.method == "probing" and call.role == "keeper":
                calls.append(
                    Determination(
                        call.examiner, call.method, animal, call.conclusion, None, call.blind
                    )
                )
    roles = {name: one.role for name, one in drawn.examiners.items()}
    rates = [
        error_rate(key, counts, error_prior(parameters.base, roles[key[0]], *key[1:]))
        for key, counts in settled(settle(calls, proofs)).items()
    ]
    held = 0
    for rate in rates:
        slip = drawn.examiners[rate.examiner].error
        misled = parameters.base.value(f"mislead.probing.{rate.sex}")
        held += rate.low <= slip + misled - 2 * slip * misled <= rate.high
    return len(rates), held


def _pairs(drawn: Drawn, standings: Sequence[Standing]) -> Iterator[tuple[Standing, Sex]]:
    return zip(standings, drawn.sexes, strict=True)


def males(drawn: Drawn, standings: Sequence[Standing]) -> tuple[np.ndarray, np.ndarray]:
    """How probably each is a male, and whether it is."""
    p_male = np.array([one.p_male for one in standings])
    return p_male, np.array([sex == "male" for sex in drawn.sexes])


def pooled(found: Sequence[Scores]) -> Scores:
    """The animals of all draws counted together."""
    by_method = sorted({name for one in found for name in one.methods})
    lows = sorted({b.low for one in found for b in one.bins})
    return Scores(
        float(np.mean([one.brier for one in found])),
        [_pooled([b for one in found for b in one.bins if b.low == low]) for low in lows],
        {sex: _sum([one.verified[sex] for one in found]) for sex in SEXES},
        {name: _sum([one.methods.get(name, (0, 0)) for one in found]) for name in by_method},
        *(sum(getattr(one, name) for one in found) for name in _COUNTS),
        sum((one.causes for one in found), Counter()),
        together([one.second for one in found]),
        tuple(each for one in found for each in one.chance),
    )


_COUNTS = ("probable", "probable_wrong", "examiners", "covered")


def _sum(pairs: Sequence[tuple[int, int]]) -> tuple[int, int]:
    return sum(one for one, _ in pairs), sum(two for _, two in pairs)


def _pooled(bins: Sequence[Bin]) -> Bin:
    count = sum(one.count for one in bins)
    expected = sum(one.count * one.expected for one in bins) / max(1, count)
    return bins[0]._replace(count=count, expected=expected, right=sum(one.right for one in bins))
