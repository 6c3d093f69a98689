"""What one call says by itself: the chance of what was seen in a male and in a female.

A finding that cannot tell the sexes apart, a call that reached no conclusion, and a call
whose conclusion goes against what was seen all say nothing; each says so by its code.
"""

from collections.abc import Callable
from math import log
from typing import Any, Literal

from msgspec import Struct

from scalewitness.domain.observations import (
    Dna,
    Eversion,
    Hearsay,
    LifeStage,
    Method,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    Sex,
    Visual,
)
from scalewitness.domain.sexing.depths import depth_tables, pass_log_chance
from scalewitness.domain.sexing.evidence import Evidence, other
from scalewitness.domain.sexing.likelihood import NOTHING, Pair, log_ratio, total
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.sides import SIDES_NUMBERS, compare
from scalewitness.domain.sexing.taxa import Taxon

Code = Literal[
    "depths_read",
    "finding_read",
    "conclusion_only",
    "depths_not_known",
    "undetermined",
    "all_aborted",
    "conflict",
    "other_animal",
    "deep_in_other_sex",
    "sex_system_unknown",
    "wrong_sex_system",
    "assay_failed",
    "unclear",
    "no_scale_ranges",
    "scale_overlap",
    "says_nothing",
]

_LEAST = 1e-12
"""Log chances no further apart than this are equal but for rounding."""
_DEPTH_NUMBERS = ("depth.sd_share", "depth.sd_least", "depth.outlier")
_BOTH_SIDES = (*_DEPTH_NUMBERS, *SIDES_NUMBERS)


class Reading(Struct, frozen=True):
    """``pair`` as in :mod:`likelihood`; ``passes`` the same for each pass; ``used`` the
    names of the parameters that entered; ``alike`` whether the two sides of a probing
    agreed, None where that did not enter."""

    pair: Pair
    code: Code
    used: tuple[str, ...] = ()
    passes: tuple[Pair, ...] = ()
    alike: bool | None = None

    @property
    def informative(self) -> bool:
        """Whether it tells the sexes apart at all."""
        male, female = self.pair
        return abs(male - female) > _LEAST


def reading(call: Evidence, taxon: Taxon, numbers: ParameterSet) -> Reading:
    """What this call says by itself, before examiner, animal and identity come in."""
    if call.conclusion == "undetermined":
        return Reading(NOTHING, "undetermined")
    if numbers.value(f"identity.{call.identity}") >= 0.5:
        return Reading(NOTHING, "other_animal", (f"identity.{call.identity}",))
    found = _found(call, call.conclusion, taxon, numbers)
    sign = 1 if call.conclusion == "male" else -1
    if found.informative and log_ratio(found.pair) * sign < 0:
        return Reading(NOTHING, "conflict", found.used, found.passes)
    return found


def _found(call: Evidence, conclusion: Sex, taxon: Taxon, numbers: ParameterSet) -> Reading:
    if isinstance(call.observed, Probing):
        return _probing(call.observed.passes, conclusion, taxon, numbers)
    key, code = _KEYS[call.method](call.observed, conclusion, taxon)
    return Reading(NOTHING, code) if key is None else _listed(key, code, call.stage, numbers)


def _listed(key: str, code: Code, stage: LifeStage, numbers: ParameterSet) -> Reading:
    """The finding's entry for that life stage, or the one for any stage."""
    for name in (f"{key}.{stage}", f"{key}.any"):
        if f"{name}.male" in numbers.numbers:
            used = (f"{name}.male", f"{name}.female")
            male, female = map(numbers.value, used)
            return Reading((log(male), log(female)), code, used)
    return Reading(NOTHING, "unclear" if key.endswith(".unclear") else "says_nothing")


# --- probing --------------------------------------------------------------------------


def _probing(
    passes: tuple[Pass, ...], conclusion: Sex, taxon: Taxon, numbers: ParameterSet
) -> Reading:
    runs = tuple(run for run in passes if run.stopped != "aborted")
    if passes and not runs:
        return Reading(NOTHING, "all_aborted")
    if not runs:
        return _listed(f"probing.says_{conclusion}", "conclusion_only", "unknown", numbers)
    tables = depth_tables(taxon, numbers)
    if tables is None:
        return _half_known(runs, conclusion, taxon, numbers)
    male, female = tables
    each = tuple([(pass_log_chance(run, male), pass_log_chance(run, female)) for run in runs])
    sides = compare(runs, tables, numbers)
    if sides is None:
        return Reading(total(each), "depths_read", _DEPTH_NUMBERS, each)
    return Reading(total([*each, sides.pair]), "depths_read", _BOTH_SIDES, each, sides.alike)


def _half_known(
    runs: tuple[Pass, ...], conclusion: Sex, taxon: Taxon, numbers: ParameterSet
) -> Reading:
    """Depths of at most one sex are known: a conclusion counts as if no depth had been
    given, unless a depth is one that is usual in the other sex."""
    usual = taxon.depths(other(conclusion))
    if usual is not None and any(usual[0] <= run.scales <= usual[1] for run in runs):
        return Reading(NOTHING, "deep_in_other_sex")
    return _listed(f"probing.says_{conclusion}", "depths_not_known", "unknown", numbers)


# --- all other methods: the name under which a finding is listed ------------------------

Key = tuple[str | None, Code]


def _eversion(seen: Eversion, _: Sex, __: Taxon) -> Key:
    return f"eversion.{seen.manner}.{seen.seen}", "finding_read"


def _radiography(seen: Radiography, _: Sex, __: Taxon) -> Key:
    return f"radiography.{'contrast' if seen.contrast else 'plain'}.{seen.seen}", "finding_read"


def _dna(seen: Dna, _: Sex, taxon: Taxon) -> Key:
    if taxon.sex_system == "unknown":
        return None, "sex_system_unknown"
    if taxon.sex_system != seen.system:
        return None, "wrong_sex_system"
    if seen.found == "failed":
        return None, "assay_failed"
    return f"dna.{seen.system}.{seen.found}", "finding_read"


def _reproduction(seen: Reproduction, _: Sex, __: Taxon) -> Key:
    return f"reproduction.{'witnessed' if seen.witnessed else 'unwitnessed'}", "finding_read"


def _scale_count(seen: ScaleCount, _: Sex, taxon: Taxon) -> Key:
    if taxon.male_subcaudals is None or taxon.female_subcaudals is None:
        return None, "no_scale_ranges"
    fits = [
        low <= seen.subcaudals <= high
        for low, high in (taxon.male_subcaudals, taxon.female_subcaudals)
    ]
    if fits[0] == fits[1]:
        return None, "scale_overlap" if fits[0] else "says_nothing"
    return f"scale_count.{'males' if fits[0] else 'females'}_only", "finding_read"


def _visual(seen: Visual, conclusion: Sex, _: Taxon) -> Key:
    return f"visual.{seen.feature}.says_{conclusion}", "conclusion_only"


def _statement(seen: Hearsay, conclusion: Sex, _: Taxon) -> Key:
    return f"statement.{seen.source}.says_{conclusion}", "conclusion_only"


_KEYS: dict[Method, Callable[[Any, Sex, Taxon], Key]] = {
    "eversion": _eversion,
    "ultrasound": lambda seen, _, __: (f"ultrasound.{seen.seen}", "finding_read"),
    "radiography": _radiography,
    "endoscopy": lambda seen, _, __: (f"endoscopy.{seen.seen}", "finding_read"),
    "dna": _dna,
    "reproduction": _reproduction,
    "scale_count": _scale_count,
    "visual": _visual,
    "statement": _statement,
}
