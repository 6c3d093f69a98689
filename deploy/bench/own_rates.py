"""A simulated world's own rates, put into the model: what is the best that learning could find."""

import sys
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path
from typing import cast, get_args

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.simulated import SEXES
from bench.worlds import World
from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, put_in
from scalewitness.domain.sexing.learning.settled import LEARNED_OF
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import error_number
from scalewitness.domain.sexing.sessions import BLIND_FOLLOWED

HARDLY_EVER = 1e-4
"""For what never happens in a world: a number is never nought."""


def with_own_rates(
    world: World, parameters: Parameters, learned: Sequence[LearnedNumber]
) -> Parameters:
    """Error rates, misleading shares, animals mixed up, and how often people follow, as the world
    was made, in both sets of numbers; depths as they were learned."""
    depths = [one for one in learned if one.name.startswith("depth")]
    own = (_exactly(name, share) for name, share in _rates(world, parameters.base))
    return put_in(parameters, [*depths, *own])


def _exactly(name: str, share: float) -> LearnedNumber:
    value = Decimal(f"{max(share, HARDLY_EVER):.6f}")
    return LearnedNumber(name, value, value, value, 0, 0, 0, 0)


def _rates(world: World, numbers: ParameterSet) -> Iterator[tuple[str, float]]:
    yield from _errors(world, numbers)
    yield from _misleading(world, numbers)
    yield from _following(world, numbers)
    yield "identity.confirmed", world.mix_up / 2
    held = numbers.value("depth.outlier")
    yield "depth.outlier", 1 - (1 - held) * (1 - world.outlier)


def _errors(world: World, numbers: ParameterSet) -> Iterator[tuple[str, float]]:
    for role, (a, b) in world.errors.items():
        for method in LEARNED_OF:
            share = a / (a + b) * numbers.get(f"error_share.{method}", 1.0)
            for sex, times in zip(SEXES, world.by_sex, strict=True):
                if world.shared:
                    times = numbers.get(f"error_by_sex.{method}.{sex}", 1.0)
                yield error_number(role, method, sex), share * times


def _misleading(world: World, numbers: ParameterSet) -> Iterator[tuple[str, float]]:
    """What is mostly wrong says nothing, and never the contrary."""
    most = numbers.value("error.most")
    for method in cast(Sequence[Method], get_args(Method)):
        for sex in cast(Sequence[Sex], SEXES):
            name = f"mislead.{method}.{sex}"
            if name in numbers.numbers:
                share = numbers.value(name) * world.mislead
                clench = world.clench if (method, sex) == ("probing", "male") else 0.0
                yield name, min(most, max(share, clench))


def _following(world: World, numbers: ParameterSet) -> Iterator[tuple[str, float]]:
    """κ stands as what it leaves of the share of those who would disagree."""
    blind = numbers.value("anchoring.discordant_blind")
    kappa = 1 - numbers.value("anchoring.discordant_knowing") / blind
    if world.follow is not None:
        kappa = world.follow
        yield "anchoring.discordant_knowing", blind * (1 - kappa)
    if world.hidden:
        yield BLIND_FOLLOWED, world.hidden * kappa
    if not world.shared:
        yield "followed", 0.0
