"""Animals and examiners drawn from the model, and from worlds it does not describe.

    python deploy/bench/simulation.py --draws 4

Prints for each world, after nothing was learned and after so many settled animals, how often the
probabilities come true (reliability, Brier score), how often a verified sex is wrong, either sex
apart, by which methods, what was in the way of the wrong ones, and how often the 95 % interval of
an examiner's error rate holds the rate they were given. Each draw has examiners of its own and
learns from animals of its own, since a hundred animals with the same examiners are not a hundred
trials; the animals of all draws are then counted together. Fails if in any world more than 2 in
100 animals verified as of one sex are not of it, or after the most was learned more than 1 in 100
(upper end of the 95 % interval), or if then fewer than 7 bins hold in the middle draw, or a second
method verifies less than is wanted and than the world's own rates would. In the model's own world
all bins must hold at once, of all draws together: each by an interval so wide that all do in 95 of
100 runs (Bonferroni). Beside the bins it prints how many would hold were each probability exactly
right, and by the world's own rates in place of what was learned.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from statistics import median_low
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench import left_unverified as left
from bench.calibration import Calibration, Second, kept, write
from bench.histories import standing_of
from bench.left_unverified import Left, left_unverified
from bench.own_rates import with_own_rates
from bench.reliability import reliability
from bench.scores import Scores, males, pooled, scores
from bench.second_method import SecondMethod, second_method, together
from bench.simulated import SEXES, Drawn, Simulator
from bench.worlds import WORLDS, World
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.parameters import CURRENT, Parameters, load_parameters

ALLOWED = 0.02
"""Of the animals verified, either sex apart, in any world before anything was learned: our
judgement."""
ALLOWED_AFTER = 0.01
"""The same after learning, upper end of the 95 % interval: our judgement."""
BINS_WANTED = 7
SECOND_WANTED, SPARE = 0.8, 0.1
"""Of the animals on which a second method agreed so many are verified after learning; or, but for
so many of them, as many as by the world's own rates, which nobody could better (our judgement)."""


class Why(NamedTuple):
    """What keeps animals from being verified; and what the same calls come to with the world's own
    rates in the model: how many bins ``hold``, and ``own``, how many a second method verifies."""

    left: Left
    hold: int
    own: SecondMethod


class Run(NamedTuple):
    """A draw, judged with what was learned from so many settled animals."""

    settled: int
    learned: int
    scores: Scores
    why: Why | None


def run(
    world: World, animals: int, seed: int, settled: Sequence[int], version: str = CURRENT,
    *, explain: bool = False,
) -> Iterator[Run]:  # fmt: skip
    """Draws a world, assesses it with what was learned from so many settled animals of it, and
    scores the answers; with ``explain`` also why they are no better."""
    parameters = load_parameters(version)
    simulator = Simulator(world, parameters, np.random.default_rng(seed))
    drawn, others = simulator.draw(animals), simulator.settled(max(settled))
    known: dict[Parameters, tuple[Scores, Why | None]] = {}
    for number in settled:
        learned = learn(others[:number], parameters)
        now = with_learned(parameters, learned)
        if now not in known:
            standings = [standing_of(record, now) for record in drawn.records]
            why = _why(world, drawn, standings, learned, parameters) if explain else None
            known[now] = scores(drawn, standings, now), why
        yield Run(number, len(learned), *known[now])


def _why(
    world: World,
    drawn: Drawn,
    standings: Sequence[Standing],
    learned: Sequence[LearnedNumber],
    parameters: Parameters,
) -> Why:
    own = with_own_rates(world, parameters, learned)
    best = [standing_of(record, own) for record in drawn.records]
    bins = reliability(*males(drawn, best))
    return Why(
        left_unverified(drawn, standings, learned, parameters),
        sum(one.holds for one in bins),
        second_method(drawn, best),
    )


def report(world: World, runs: Sequence[Run]) -> None:
    """Of all draws together; which bins hold of each draw by itself."""
    found, why = [one.scores for one in runs], [one.why for one in runs if one.why]
    all_of = pooled(found)
    print(f"\n{world.name}: {len(found)} draws")
    learned = _listed([one.learned for one in runs])
    print(f"  {learned} numbers learned from {runs[0].settled:,} settled animals")
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
    least = int(np.quantile(all_of.chance, 0.05, method="lower"))
    print(
        f"  were each probability exactly right {np.mean(all_of.chance):.1f} would hold, {least} "
        f"or more in 95 of 100; by the world's own rates {_listed([one.hold for one in why])} do"
    )
    for word, count, wrong in (
        *((f"verified {sex}", *all_of.verified[sex]) for sex in SEXES),
        ("probable", all_of.probable, all_of.probable_wrong),
    ):
        print(f"  {word}: {in_words(wrong, count)}")
    by = ", ".join(f"{name} {m}/{f}" for name, (m, f) in sorted(all_of.methods.items()))
    print(f"  of verified males/females concluded so by: {by}")
    print(f"  verified of those on which a second method was used: {all_of.second}")
    print(f"  by the world's own rates: {together([one.own for one in why])}")
    print(f"  of those where the methods agree {left.together([one.left for one in why])}")
    causes = "; ".join(f"{name} {count}" for name, count in all_of.causes.most_common())
    print(f"  of wrong ones so many had among what concluded so: {causes or 'none'}")
    print(
        f"  95 % interval of an examiner's error rate held the true one for {all_of.covered} of "
        f"{all_of.examiners} ({100 * all_of.covered / max(1, all_of.examiners):.1f} %)"
    )


def line(world: World, runs: Sequence[Run]) -> str:
    """As in the table of FIGURES.md."""
    found = [one.scores for one in runs]
    all_of = pooled(found)
    cells = [
        world.name,
        f"{runs[0].settled:,}",
        _listed([one.learned for one in runs]),
        f"{all_of.brier:.4f}",
        _listed([one.hold for one in found]),
        _listed([one.too_sure for one in found]),
        *(in_words(wrong, count) for count, wrong in all_of.verified.values()),
    ]
    return f"| {' | '.join(cells)} |"


def keep(world: World, runs: Sequence[Run]) -> None:
    """In place of what was kept of that world and number before; worlds stand in their order."""
    all_of, settled = pooled([one.scores for one in runs]), runs[0].settled
    why = [one.why for one in runs if one.why]
    missing = left.together([one.left for one in why])
    second = Second(
        all_of.second.agree,
        all_of.second.agree_verified,
        together([one.own for one in why]).agree_verified,
        missing.right,
    )
    own = Calibration(world.name, settled, all_of.verified, all_of.bins, second)
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


def verifies_too_little(runs: Sequence[Run]) -> bool:
    """Whether a second method verifies less than is wanted, and than the world's own rates do."""
    found = together([one.scores.second for one in runs])
    best = together([one.why.own for one in runs if one.why])
    wanted = min(SECOND_WANTED * found.agree, (1 - SPARE) * best.agree_verified)
    return found.agree_verified < wanted


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
        about = given.settled, given.version
        ran = [
            list(run(world, given.animals, given.seed + n, *about, explain=True))
            for n in range(given.draws)
        ]
        for draws in zip(*ran, strict=True):
            report(world, draws)
            lines.append(line(world, draws))
            found = [one.scores for one in draws]
            if given.keep:
                keep(world, draws)
            counts = [(bad, of) for of, bad in pooled(found).verified.values()]
            failed |= any(bad > ALLOWED * of for bad, of in counts)
            failed |= world.shared and not pooled(found).all_hold
        failed |= max(at_most(*one) for one in counts) > ALLOWED_AFTER
        failed |= median_low([one.hold for one in found]) < BINS_WANTED
        failed |= verifies_too_little(draws)
    print("", *lines, sep="\n")
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
