"""Animals and examiners drawn from the model, and from worlds it does not describe.

    python deploy/bench/simulation.py --draws 4

Prints for each world, after nothing was learned and after so many settled animals, how often the
probabilities come true (reliability, Brier score), how often a verified sex is wrong, either sex
apart, by which methods, what was in the way of the wrong ones, and how often the 95 % interval of
an examiner's error rate holds the rate they were given. Each draw has examiners of its own and
learns from animals of its own, since a hundred animals with the same examiners are not a hundred
trials; the animals of all draws are then counted together. Fails if in any world more than 2 in
100 animals verified as of one sex are not of it, or after the most was learned more than 1 in 100
(upper end of the 95 % interval), or if then fewer than 7 bins hold in the middle draw. In the
model's own world all bins must hold at once, of all draws together: each by an interval so wide
that all do in 95 of 100 runs (Bonferroni).
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from statistics import median_low
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.calibration import Calibration, Kept, kept, write
from bench.histories import standing_of
from bench.second_method import SecondMethod, second_method, together
from bench.simulated import SEXES, Drawn, Simulator
from bench.worlds import WORLDS, World
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson
from scalewitness.domain.sexing.examiners.posterior import (
    Determination,
    Proof,
    error_rate,
    settle,
    settled,
)
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import with_learned
from scalewitness.domain.sexing.parameters import CURRENT, Parameters, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import error_prior


class Bin(Kept):
    """Animals whose favoured sex had a probability in this range."""

    @property
    def holds(self) -> bool:
        """Whether the exact 95 % interval of the share right holds what was expected."""
        return self.holds_at(LEVEL)

    def holds_at(self, level: float) -> bool:
        low, high = clopper_pearson(self.right, self.count, level)
        return low <= self.expected <= high

    @property
    def inside(self) -> str:
        """The same in words, with the way in which it does not."""
        if self.holds:
            return "yes"
        return "too sure" if self.right < self.count * self.expected else "too cautious"


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


ALLOWED = 0.02
"""Of the animals verified, either sex apart, in any world before anything was learned: our
judgement."""
ALLOWED_AFTER = 0.01
"""The same after learning, upper end of the 95 % interval: our judgement."""
BINS_WANTED = 7
EDGES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.0)


def scores(drawn: Drawn, standings: Sequence[Standing], parameters: Parameters) -> Scores:
    """How the standings compare with what the animals are."""
    p_male = np.array([one.p_male for one in standings])
    male = np.array([sex == "male" for sex in drawn.sexes])
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
        list(_reliability(np.maximum(p_male, 1 - p_male), (p_male > 0.5) == male, p_male != 0.5)),
        {sex: _verified(drawn, standings, sex) for sex in SEXES},
        _methods(drawn, standings),
        len(by_word["probable"]),
        sum(by_word["probable"]),
        examiners,
        covered,
        Counter(cause for one in _wrong(drawn, standings) for cause in one),
        second_method(drawn, standings),
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


def _reliability(share: np.ndarray, right: np.ndarray, known: np.ndarray) -> Iterator[Bin]:
    for low, high in pairwise(EDGES):
        inside = known & (share > low) & (share <= high)
        if inside.any():
            yield Bin(
                low, high, int(inside.sum()), float(share[inside].mean()), int(right[inside].sum())
            )


def run(
    world: World, animals: int, seed: int, settled: Sequence[int], version: str = CURRENT
) -> Iterator[tuple[int, int, Scores]]:
    """Draws a world, assesses it with what was learned from so many settled animals of it, and
    scores the answers; yields that number, how many numbers were learned, and the scores."""
    parameters = load_parameters(version)
    simulator = Simulator(world, parameters, np.random.default_rng(seed))
    drawn, others = simulator.draw(animals), simulator.settled(max(settled))
    known: dict[Parameters, Scores] = {}
    for number in settled:
        learned = learn(others[:number], parameters)
        now = with_learned(parameters, learned)
        if now not in known:
            standings = [standing_of(record, now) for record in drawn.records]
            known[now] = scores(drawn, standings, now)
        yield number, len(learned), known[now]


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
    )


_COUNTS = ("probable", "probable_wrong", "examiners", "covered")


def _sum(pairs: Sequence[tuple[int, int]]) -> tuple[int, int]:
    return sum(one for one, _ in pairs), sum(two for _, two in pairs)


def _pooled(bins: Sequence[Bin]) -> Bin:
    count = sum(one.count for one in bins)
    expected = sum(one.count * one.expected for one in bins) / max(1, count)
    return bins[0]._replace(count=count, expected=expected, right=sum(one.right for one in bins))


def report(world: World, found: Sequence[Scores], settled: int, learned: Sequence[int]) -> None:
    """Of all draws together; which bins hold of each draw by itself."""
    all_of = pooled(found)
    print(f"\n{world.name}: {len(found)} draws")
    print(f"  {_listed(learned)} numbers learned from {settled:,} settled animals")
    print("  probability of the favoured sex   animals   expected   came true   inside 95 %")
    for one in all_of.bins:
        print(
            f"  {one.low:5.3f} to {one.high:5.3f} {one.count:23,} {one.expected:10.4f} "
            f"{one.right / max(1, one.count):11.4f}   {one.inside}"
        )
    hold, sure = ([getattr(one, name) for one in found] for name in ("hold", "too_sure"))
    print(
        f"  in a draw {_listed(hold)} of {len(all_of.bins)} bins hold and {_listed(sure)} are too "
        f"sure; of all draws together {'all' if all_of.all_hold else 'not all'} hold at once; "
        f"Brier score {all_of.brier:.4f}"
    )
    for word, count, wrong in (
        *((f"verified {sex}", *all_of.verified[sex]) for sex in SEXES),
        ("probable", all_of.probable, all_of.probable_wrong),
    ):
        print(f"  {word}: {in_words(wrong, count)}")
    by = ", ".join(f"{name} {m}/{f}" for name, (m, f) in sorted(all_of.methods.items()))
    print(f"  of verified males/females concluded so by: {by}")
    print(f"  verified of those on which a second method was used: {all_of.second}")
    causes = "; ".join(f"{name} {count}" for name, count in all_of.causes.most_common())
    print(f"  of wrong ones so many had among what concluded so: {causes or 'none'}")
    print(
        f"  95 % interval of an examiner's error rate held the true one for {all_of.covered} of "
        f"{all_of.examiners} ({100 * all_of.covered / max(1, all_of.examiners):.1f} %)"
    )


def line(world: World, found: Sequence[Scores], settled: int, learned: Sequence[int]) -> str:
    """As in the table of FIGURES.md."""
    all_of = pooled(found)
    cells = [
        world.name,
        f"{settled:,}",
        _listed(learned),
        f"{all_of.brier:.4f}",
        _listed([one.hold for one in found]),
        _listed([one.too_sure for one in found]),
        *(in_words(wrong, count) for count, wrong in all_of.verified.values()),
    ]
    return f"| {' | '.join(cells)} |"


def keep(world: World, settled: int, found: Sequence[Scores]) -> None:
    """In place of what was kept of that world and number before; worlds stand in their order."""
    all_of = pooled(found)
    own = Calibration(world.name, settled, all_of.verified, all_of.bins)
    others = [one for one in kept() if (one.world, one.settled) != (world.name, settled)]
    names = [one.name for one in WORLDS]
    write([*others, own], lambda one: (names.index(one.world), one.settled))


def in_words(wrong: int, count: int) -> str:
    share = 100 * wrong / max(1, count)
    return f"{wrong} of {count:,} ({share:.2f}, at most {100 * at_most(wrong, count):.2f})"


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join(str(one) for one in numbers)


def at_most(wrong: int, count: int) -> float:
    """Upper end of the exact 95 % interval of the share."""
    return clopper_pearson(wrong, count)[1] if count else 1.0


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--animals", type=int, default=5_000, help="of each draw")
    arguments.add_argument("--draws", type=int, default=4)
    arguments.add_argument("--seed", type=int, default=20_261_129)
    arguments.add_argument("--version", default=CURRENT)
    arguments.add_argument("--settled", type=int, nargs="+", default=[0, 50, 200, 2000])
    arguments.add_argument("--world", default="", help="only worlds whose name has this in it")
    arguments.add_argument("--keep", action="store_true", help="for the model card, by card.py")
    given = arguments.parse_args()
    failed, lines = False, []
    for world in (one for one in WORLDS if given.world in one.name):
        ran = [
            list(run(world, given.animals, given.seed + n, given.settled, given.version))
            for n in range(given.draws)
        ]
        for draws in zip(*ran, strict=True):
            settled, learned = draws[0][0], [one for _, one, _ in draws]
            found = [one for *_, one in draws]
            report(world, found, settled, learned)
            lines.append(line(world, found, settled, learned))
            if given.keep:
                keep(world, settled, found)
            counts = [(bad, of) for of, bad in pooled(found).verified.values()]
            failed |= any(bad > ALLOWED * of for bad, of in counts)
            failed |= world.shared and not pooled(found).all_hold
        failed |= max(at_most(*one) for one in counts) > ALLOWED_AFTER
        failed |= median_low([one.hold for one in found]) < BINS_WANTED
    print("", *lines, sep="\n")
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
