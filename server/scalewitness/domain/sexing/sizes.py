"""How much more often animals of some size are misread, where that was learned here.

Weight and age enter by the stage of life, which is made from both; a probe by its diameter
against what an animal of that stage of the species weighs.
"""

from functools import lru_cache
from math import prod, sqrt

from scalewitness.domain.observations import LifeStage, Probing, Sex
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.likelihood import Pair
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.taxon_sources import Stages

_SEXES: tuple[Sex, ...] = ("male", "female")
_LEARNED = ("error_by_stage.", "error_by_probe.")


def sized_by(call: Evidence, taxon: Taxon, numbers: ParameterSet) -> tuple[str, ...]:
    """The names of what was learned here that bears on an animal of that size."""
    if not _sized(numbers):
        return ()
    names = sizes_of(call, taxon, numbers)
    return tuple(name for name in names if name in numbers.numbers)


def sizes_of(call: Evidence, taxon: Taxon, numbers: ParameterSet) -> tuple[str, ...]:
    """The names of all that could be learned of a check of such an animal."""
    names = [] if call.stage == "unknown" else [f"error_by_stage.{call.method}.{call.stage}"]
    if _probe_is_fine(call, taxon, numbers):
        names += [f"error_by_probe.fine.{sex}" for sex in _SEXES]
    return tuple(names)


@lru_cache(maxsize=512)
def times(names: tuple[str, ...], numbers: ParameterSet) -> Pair:
    """So many times the usual error, if the animal is male and if it is female."""
    male, female = (
        prod(numbers.value(name) for name in names if not name.endswith(f".{other}"))
        for other in reversed(_SEXES)
    )
    return male, female


@lru_cache(maxsize=16)
def _sized(numbers: ParameterSet) -> bool:
    return any(name.startswith(_LEARNED) for name in numbers.numbers)


def _probe_is_fine(call: Evidence, taxon: Taxon, numbers: ParameterSet) -> bool:
    """Whether a probe is so thin for such an animal that it may pass where there is no pocket."""
    if not isinstance(call.observed, Probing) or call.observed.probe_mm is None:
        return False
    grams = _usual_grams(taxon.stages, call.stage)
    least = 0.0 if grams is None else numbers.value("probe.fine") * grams ** (1 / 3)
    return float(call.observed.probe_mm) < least


def _usual_grams(stages: Stages, stage: LifeStage) -> float | None:
    """What separates the stages says what an animal in them weighs; between them the middle of
    both on a scale of ratios."""
    if stages.hatchling_grams is None or stages.adult_grams is None or stage == "unknown":
        return None
    low, high = float(stages.hatchling_grams), float(stages.adult_grams)
    return {"hatchling": low, "juvenile": sqrt(low * high), "adult": high}[stage]
