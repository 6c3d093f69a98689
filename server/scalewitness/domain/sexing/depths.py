"""How deep a probe goes in a male and in a female of a given species.

Depths are counted in half subcaudal scales from 0 to 30. The chance of each is that of a
normal distribution about the middle of the published range, plus a small share spread
evenly over all depths for plugs, kinks, scars and force.
"""

from decimal import Decimal
from functools import lru_cache
from math import erf, log, sqrt

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import DEEPEST, HalfScales, Pass
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.taxon_sources import Range

LAST = int(DEEPEST * 2)
HELD = "depth.held"
"""The name of the number that says how far beyond the ranges a depth still says something."""


class DepthTable(Struct, frozen=True, cache_hash=True):
    """By half scales: log chance of stopping there, and of stopping there or deeper."""

    stops: tuple[float, ...]
    reaches: tuple[float, ...]


@lru_cache(maxsize=512)
def depth_tables(taxon: Taxon, numbers: ParameterSet) -> tuple[DepthTable, DepthTable] | None:
    """The male's and the female's table under one set of parameters; None where the depths
    of one sex are not known."""
    if taxon.male_range is None or taxon.female_range is None:
        return None
    return depth_table(taxon.male_range, numbers), depth_table(taxon.female_range, numbers)


def depth_table(given: Range, numbers: ParameterSet) -> DepthTable:
    """The table for a published range under one set of parameters."""
    low, high = map(float, given)
    sd = max((high - low) * numbers.value("depth.sd_share"), numbers.value("depth.sd_least"))
    return _depth_table((low + high) / 2, sd, numbers.value("depth.outlier"))


def pass_log_chance(run: Pass, table: DepthTable) -> float:
    """Log chance of one pass: stopped by resistance there, or by choice there or deeper.
    An aborted pass has chance one whatever the sex. Depths beyond the table count as its
    last."""
    if run.stopped == "aborted":
        return 0.0
    chances = table.stops if run.stopped == "resistance" else table.reaches
    return chances[half_scales(run.depth)]


@lru_cache(maxsize=1024)
def half_scales(depth: HalfScales) -> int:
    """A depth as it is written, in half scales; the table's last where it is beyond."""
    return min(int(float(depth) * 2), LAST)  # halves, so exact


@lru_cache(maxsize=512)
def _depth_table(mean: float, sd: float, outlier: float) -> DepthTable:
    below = [normal_below((half + 0.5) / 2, mean, sd) for half in range(LAST)]
    normal = [high - low for low, high in zip([0.0, *below], [*below, 1.0], strict=True)]
    spread = outlier / (LAST + 1)
    stops = [(1 - outlier) * chance + spread for chance in normal]
    deeper = [(1 - outlier) * (1 - shallower) for shallower in [0.0, *below]]
    reaches = [chance + spread * (LAST + 1 - half) for half, chance in enumerate(deeper)]
    return DepthTable(tuple(map(log, stops)), tuple(map(log, reaches)))


def normal_below(depth: float, mean: float, sd: float) -> float:
    """The share of a normal distribution up to a value."""
    return (1 + erf((depth - mean) / (sd * sqrt(2)))) / 2


def held(runs: tuple[Pass, ...], taxon: Taxon, numbers: ParameterSet) -> tuple[Pass, ...]:
    """With depths beyond both ranges as deep as their ends: how often snakes stop where nobody
    saw any stop is unknown, and what scatters more would win there. Far beyond no snake stops,
    and a pass says as little as one that was broken off."""
    ends = held_between(taxon, numbers)
    return runs if ends is None else tuple(_as_deep_as(run, *ends) for run in runs)


@lru_cache(maxsize=512)
def held_between(taxon: Taxon, numbers: ParameterSet) -> tuple[Decimal, Decimal, Decimal] | None:
    """The ends beyond which depths say no more, and the depth beyond which they say nothing;
    None where they are read as they are."""
    ranges = [given for given in (taxon.male_range, taxon.female_range) if given is not None]
    if HELD not in numbers.numbers or not ranges:
        return None
    high = max(one[1] for one in ranges)
    return min(one[0] for one in ranges), high, high + Decimal(str(numbers.value(HELD)))


def _as_deep_as(run: Pass, low: Decimal, high: Decimal, deepest: Decimal) -> Pass:
    """A pass that was still gliding may have gone on: only the far end bounds it."""
    if run.scales > deepest:
        return replace(run, stopped="aborted")
    least = low if run.stopped == "resistance" else run.scales
    depth = min(max(run.scales, least), high)
    return run if depth == run.scales else replace(run, depth=f"{depth.normalize():f}")
