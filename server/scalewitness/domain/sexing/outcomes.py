"""What a check that has not been made may show.

For most methods that is what they usually show for either sex. For probing it is every
pair of depths of the two sides, gathered into a few classes by what they say: within a
class the model's chances are exact sums, and a pair that says too little to name a sex
counts as undetermined.
"""

from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from math import log

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from scalewitness.domain.observations import Method, Observation, Pass, Probing, Sex
from scalewitness.domain.sexing.depths import (
    LAST,
    DepthTable,
    depth_tables,
    held_between,
    normal_below,
)
from scalewitness.domain.sexing.findings import Reading, typical
from scalewitness.domain.sexing.likelihood import NOTHING, Pair, log_ratio
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.sides import alike_by_chance, log_factor
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import Taxon, as_learned
from scalewitness.domain.sexing.taxon_sources import Range

FloatArray = NDArray[np.float64]

_SEXES: tuple[Sex, ...] = ("male", "female")


class PossibleOutcome(Struct, frozen=True):
    """One thing a check may show. ``base`` and ``pessimistic`` say what it says under
    either set when that is not what ``observed`` alone says."""

    conclusion: Sex
    observed: Observation
    base: Reading | None = None
    pessimistic: Reading | None = None


class Prospect(Struct, frozen=True):
    """All that may name a sex; ``informative`` is the share of animals in which the method can
    say anything. What is left over is a check without a conclusion."""

    outcomes: tuple[PossibleOutcome, ...]
    informative: float = 1.0


@lru_cache(maxsize=4096)
def prospect(method: Method, taxon: Taxon, parameters: Parameters) -> Prospect:
    """What this method may show in this species."""
    if method == "probing":
        sets = parameters.base, parameters.pessimistic
        base, pessimistic = (_grid(as_learned(taxon, numbers), numbers) for numbers in sets)
        if base is not None and pessimistic is not None:
            return Prospect(_depth_classes(base, pessimistic))
    return Prospect(
        tuple(PossibleOutcome(sex, typical(method, sex, taxon)) for sex in _SEXES),
        _outside_overlap(taxon) if method == "scale_count" else 1.0,
    )


# --- probing ------------------------------------------------------------------------------


class _Grid(Struct, frozen=True):
    """Chances of every pair of depths (left, right) in half scales, by sex."""

    male: FloatArray
    female: FloatArray

    def pair(self, chosen: NDArray[np.bool_]) -> Pair:
        return log(float(self.male[chosen].sum())), log(float(self.female[chosen].sum()))


def _depth_classes(base: _Grid, pessimistic: _Grid) -> tuple[PossibleOutcome, ...]:
    favour = np.log(base.male) - np.log(base.female)
    edges = [*(log(_number("depths", name)) for name in ("odds", "clear", "strong")), np.inf]
    found = []
    for sex, sign in zip(_SEXES, (1, -1), strict=True):
        for low, high in pairwise(edges):
            chosen = (sign * favour > low) & (sign * favour <= high)
            if chosen.any():
                found.append(_class(sex, chosen, base, pessimistic))
    return tuple(found)


def _class(sex: Sex, chosen: NDArray[np.bool_], base: _Grid, pessimistic: _Grid) -> PossibleOutcome:
    likeliest = np.where(chosen, base.male if sex == "male" else base.female, 0.0).argmax()
    left, right = np.unravel_index(likeliest, chosen.shape)
    passes = Pass("left", _scales(left), "resistance"), Pass("right", _scales(right), "resistance")
    return PossibleOutcome(
        sex,
        Probing(passes),
        _reading(sex, base.pair(chosen)),
        _reading(sex, pessimistic.pair(chosen)),
    )


def _reading(sex: Sex, pair: Pair) -> Reading:
    against = log_ratio(pair) < 0 if sex == "male" else log_ratio(pair) > 0
    return Reading(NOTHING, "conflict") if against else Reading(pair, "depths_read")


def _scales(half_scales: np.intp) -> str:
    return f"{int(half_scales) / 2:g}"


def _grid(taxon: Taxon, numbers: ParameterSet) -> _Grid | None:
    """None where the depths of one sex are not known. Depths beyond both ranges come as often,
    and say what the ends of the ranges say: both sexes' chance is shared out as it is there.
    Too deep a one says nothing."""
    tables = depth_tables(taxon, numbers)
    if tables is None:
        return None
    every = np.arange(LAST + 1)
    grid = _grid_at(every, tables, numbers)
    ends = held_between(taxon, numbers)
    if ends is None:
        return grid
    low, high, deepest = (int(2 * end) for end in ends)
    read = _grid_at(np.clip(every, low, high), tables, numbers, deepest)
    both, share = grid.male + grid.female, read.male / (read.male + read.female)
    share[deepest + 1 :, deepest + 1 :] = 0.5
    return _Grid(both * share, both * (1 - share))


def _grid_at(
    read_as: NDArray[np.intp],
    tables: tuple[DepthTable, DepthTable],
    numbers: ParameterSet,
    deepest: int = LAST,
) -> _Grid:
    """With every depth taken for another one, and those beyond ``deepest`` as likely in either
    sex."""
    male, female = (np.exp(np.array(table.stops))[read_as] for table in tables)
    male[deepest + 1 :] = female[deepest + 1 :] = 1.0
    both = zip(_SEXES, tables, (male, female), strict=True)
    return _Grid(*(np.outer(own, own) * _sides(sex, one, numbers) for sex, one, own in both))


def _sides(sex: Sex, depths: DepthTable, numbers: ParameterSet) -> FloatArray:
    """By how much looking at both sides together changes the chance of each pair."""
    size = LAST + 1
    if "sides.within" not in numbers.numbers:
        return np.ones((size, size))
    within, share = numbers.value("sides.within"), numbers.value(f"sides.match.{sex}")
    by_chance = alike_by_chance(depths, 1, 1, within)
    apart = np.abs(np.subtract.outer(np.arange(size), np.arange(size)))
    alike, different = (np.exp(log_factor(one, share, by_chance)) for one in (True, False))
    changes: FloatArray = np.where(apart <= 2 * within, alike, different)
    return changes


# --- scale counts -------------------------------------------------------------------------


def _outside_overlap(taxon: Taxon) -> float:
    """The share of animals, both sexes alike, whose scale count only one sex has: counts
    spread over the published range as depths do."""
    male, female = taxon.male_subcaudals, taxon.female_subcaudals
    if male is None or female is None:
        return 0.0
    counts = map(Decimal, range(int(min(male[0], female[0])), int(max(male[1], female[1])) + 1))
    ranges = {"male": male, "female": female}
    alone = [(n, taxon.only_in("subcaudals", n)) for n in counts]
    return sum(_at(n, ranges[sex]) for n, sex in alone if sex is not None) / 2


def _at(count: Decimal, given: Range) -> float:
    return _below(count, given) - _below(count - 1, given)


def _below(count: Decimal, given: Range) -> float:
    """The share of counts up to and with one, normal about the middle of the range."""
    low, high = map(float, given)
    sd = (high - low) * _number("scale_counts", "sd_share")
    return normal_below(float(count) + 0.5, (low + high) / 2, sd)


def _number(part: str, name: str) -> float:
    return float(table("planning.toml")[part][name]["value"])
