"""What one call says by itself: the chance of what was seen in a male and in a female; and what
a method usually shows, which is used where a check has not been made yet.

A finding that cannot tell the sexes apart, a call that reached no conclusion, and a call
whose conclusion goes against what was seen all say nothing; each says so by its code.
"""

from collections.abc import Callable
from decimal import Decimal
from math import log
from typing import Any, Literal

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import (
    Conclusion,
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    LifeStage,
    Method,
    Observation,
    Parentage,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    Sex,
    TailLength,
    Ultrasound,
    Visual,
    saw_both,
)
from scalewitness.domain.sexing.depths import HELD, depth_tables, held, pass_log_chance
from scalewitness.domain.sexing.evidence import Evidence, another_animal, other
from scalewitness.domain.sexing.likelihood import NOTHING, Pair, log_ratio, total
from scalewitness.domain.sexing.parameters import CALL_BY_CALL, ParameterSet
from scalewitness.domain.sexing.sides import SIDES_NUMBERS, compare
from scalewitness.domain.sexing.tails import measured
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.taxon_sources import Range

Code = Literal[
    "depths_read",
    "partly_too_deep",
    "finding_read",
    "conclusion_only",
    "depths_not_known",
    "undetermined",
    "atypical",
    "all_aborted",
    "conflict",
    "midway",
    "too_deep",
    "other_animal",
    "denied",
    "deep_in_other_sex",
    "parentage_open",
    "not_the_father",
    "controls_failed",
    "sex_system_unknown",
    "wrong_sex_system",
    "no_dna_test",
    "assay_failed",
    "unclear",
    "no_scale_ranges",
    "scale_overlap",
    "scales_disagree",
    "no_tails",
    "says_nothing",
]

_LEAST = 1e-12
"""Log chances no further apart than this are equal but for rounding."""
_SLIGHT = log(3)
"""Depths that speak no more strongly than that lie between the sexes: our judgement."""
_DEPTH_NUMBERS = ("depth.sd_share", "depth.sd_least", "depth.outlier")
_BOTH_SIDES = (*_DEPTH_NUMBERS, *SIDES_NUMBERS)


class NoSuchFinding(ValueError):
    """This method cannot come to that conclusion."""


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
        return Reading(NOTHING, "atypical" if saw_both(call.observed) else "undetermined")
    if another_animal(call, numbers) >= 0.5:
        return Reading(NOTHING, "other_animal", (f"identity.{call.identified}",))
    if call.report == "denied" and "report.mistaken" in numbers.numbers:
        return Reading(NOTHING, "denied")
    found = _found(call, call.conclusion, taxon, numbers)
    sign = 1 if call.conclusion == "male" else -1
    if found.informative and log_ratio(found.pair) * sign < 0:
        slightly = abs(log_ratio(found.pair)) < _SLIGHT
        code: Code = "midway" if slightly and found.passes else "conflict"
        return Reading(NOTHING, code, found.used, found.passes)
    return found


def _found(call: Evidence, conclusion: Sex, taxon: Taxon, numbers: ParameterSet) -> Reading:
    if isinstance(call.observed, Probing):
        bias = numbers.numbers.get(bias_number(call.examiner))
        if bias is None:
            return _probing(call.observed.passes, conclusion, taxon, numbers)
        read = tuple(_counted_alike(run, Decimal(str(bias.value))) for run in call.observed.passes)
        seen = _probing(read, conclusion, taxon, numbers)
        return replace(seen, used=(*seen.used, bias.name)) if seen.passes else seen
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


def bias_number(examiner: str) -> str:
    """The name of a number learned here: by how many scales this examiner counts deeper than
    others, in half scales; where the base of the tail begins is a habit."""
    return f"depth_bias.{examiner}"


def _counted_alike(run: Pass, bias: Decimal) -> Pass:
    """As whoever counts like most would have counted it."""
    depth = max(run.scales - bias, Decimal(0))
    return replace(run, depth=f"{depth.normalize():f}")


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
    read = held(runs, taxon, numbers)
    too_deep = [run.stopped == "aborted" for run in read]
    if all(too_deep):
        return Reading(NOTHING, "too_deep", (HELD,), (NOTHING,) * len(runs))
    each = tuple([(pass_log_chance(run, male), pass_log_chance(run, female)) for run in read])
    code: Code = "partly_too_deep" if any(too_deep) else "depths_read"
    sides = compare(runs, tables, numbers)
    beyond = () if read == runs else (HELD,)
    if sides is None:
        return Reading(total(each), code, (*_DEPTH_NUMBERS, *beyond), each)
    used = (*_BOTH_SIDES, *beyond)
    return Reading(total([*each, sides.pair]), code, used, each, sides.alike)


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
    if not taxon.has_dna_test:
        return None, "no_dna_test"
    if seen.found == "failed":
        return None, "assay_failed"
    if seen.failed_controls and taxon.version not in CALL_BY_CALL:
        return None, "controls_failed"
    return f"dna.{seen.system}.{seen.found}", "finding_read"


def _reproduction(seen: Reproduction, _: Sex, __: Taxon) -> Key:
    return f"reproduction.{'witnessed' if seen.witnessed else 'unwitnessed'}", "finding_read"


def _parentage(seen: Parentage, _: Sex, __: Taxon) -> Key:
    """No young of it is no sign of its sex: most males have none there either."""
    if seen.proves is None:
        return None, "assay_failed" if seen.found == "failed" else "not_the_father"
    if seen.all_excluded:
        return f"parentage.{seen.found}", "finding_read"
    return f"parentage.{seen.found}_open", "parentage_open"


def _measured(seen: ScaleCount | TailLength, method: Method, unknown: Code, taxon: Taxon) -> Key:
    """However many characters agree, they weigh as one: they go together within a sex."""
    known = {one: value for one, value in measured(seen).items() if taxon.spans(one)}
    if not known:
        return None, unknown
    found = {taxon.only_in(one, value) for one, value in known.items()} - {None}
    if len(found) > 1:
        return None, "scales_disagree"
    for alone in found:
        return f"{method}.{alone}s_only", "finding_read"
    usual = any(
        low <= value <= high for one, value in known.items() for low, high in taxon.spans(one)
    )
    return None, "scale_overlap" if usual else "says_nothing"


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
    "parentage": _parentage,
    "scale_count": lambda seen, _, kind: _measured(seen, "scale_count", "no_scale_ranges", kind),
    "tail_length": lambda seen, _, kind: _measured(seen, "tail_length", "no_tails", kind),
    "visual": _visual,
    "statement": _statement,
}


# --- what a check that has not been made usually shows ----------------------------------


def typical(method: Method, conclusion: Conclusion, taxon: Taxon) -> Observation:
    """What such a check would show: a depth from the middle of the range on both sides, a
    marker of the species' own sex system. Raises NoSuchFinding for eggs from a male."""
    return _TYPICAL[method](conclusion, taxon)


def _usual_probing(conclusion: Conclusion, taxon: Taxon) -> Probing:
    depth = None if conclusion == "undetermined" else _middle(taxon.depths(conclusion))
    if depth is None or taxon.male_range is None or taxon.female_range is None:
        return Probing()
    return Probing((Pass("left", depth, "resistance"), Pass("right", depth, "resistance")))


def _middle(given: Range | None) -> str | None:
    if given is None:
        return None
    halves = round(float(given[0] + given[1]))
    return f"{Decimal(halves) / 2:f}"


def _usual_eversion(conclusion: Conclusion, _: Taxon) -> Eversion:
    if conclusion == "undetermined":
        return Eversion("manual", "unclear")
    return Eversion("manual", "hemipenes" if conclusion == "male" else "nothing")


def _usual_ultrasound(conclusion: Conclusion, _: Taxon) -> Ultrasound:
    if conclusion == "undetermined":
        return Ultrasound("unclear")
    return Ultrasound("hemipenes" if conclusion == "male" else "pockets")


def _usual_radiography(conclusion: Conclusion, _: Taxon) -> Radiography:
    if conclusion == "undetermined":
        return Radiography(True, "unclear")
    return Radiography(True, "hemipenes" if conclusion == "male" else "none")


def _usual_endoscopy(conclusion: Conclusion, _: Taxon) -> Endoscopy:
    if conclusion == "undetermined":
        return Endoscopy("unclear")
    return Endoscopy("testes" if conclusion == "male" else "ovaries")


def _usual_dna(conclusion: Conclusion, taxon: Taxon) -> Dna:
    """Where the system is not known an assay has to assume one, and says nothing."""
    system = "ZW" if taxon.sex_system == "unknown" else taxon.sex_system
    if conclusion == "undetermined":
        return Dna(system, "shed", "failed")
    two_kinds: Sex = "male" if system == "XY" else "female"
    return Dna(system, "shed", "heterogametic" if conclusion == two_kinds else "homogametic")


def _usual_reproduction(conclusion: Conclusion, _: Taxon) -> Reproduction:
    if conclusion == "male":
        raise NoSuchFinding("eggs or young prove no male")
    return Reproduction("laid_eggs", witnessed=True)


def _usual_parentage(conclusion: Conclusion, _: Taxon) -> Parentage:
    """With everything ruled out, as whoever asks for one would have it done."""
    if conclusion == "undetermined":
        return Parentage("failed", 1, True, True, True)
    return Parentage("sire" if conclusion == "male" else "dam_alone", 1, True, True, True)


def _usual_scale_count(conclusion: Conclusion, taxon: Taxon) -> ScaleCount:
    """A count from the middle of what only that sex has, or of what both have."""
    male, female = taxon.male_subcaudals, taxon.female_subcaudals
    if male is None or female is None:
        return ScaleCount(0)
    sex = None if conclusion == "undetermined" else conclusion
    counts = range(int(min(male[0], female[0])), int(max(male[1], female[1])) + 1)
    fitting = [n for n in counts if taxon.only_in("subcaudals", Decimal(n)) == sex]
    return ScaleCount(fitting[(len(fitting) - 1) // 2] if fitting else 0)


def _usual_tail(conclusion: Conclusion, taxon: Taxon) -> TailLength:
    """Of an animal a metre long: a tail from the middle of that sex's, else one of a tenth."""
    spans = taxon.spans("tail_over_total")
    if conclusion == "undetermined" or not spans:
        return TailLength(100, 1000)
    low, high = spans[0 if conclusion == "male" else 1]
    return TailLength(round(1000 * (low + high) / 2), 1000)


_TYPICAL: dict[Method, Callable[[Conclusion, Taxon], Observation]] = {
    "probing": _usual_probing,
    "eversion": _usual_eversion,
    "ultrasound": _usual_ultrasound,
    "radiography": _usual_radiography,
    "endoscopy": _usual_endoscopy,
    "dna": _usual_dna,
    "reproduction": _usual_reproduction,
    "parentage": _usual_parentage,
    "scale_count": _usual_scale_count,
    "tail_length": _usual_tail,
    "visual": lambda _, __: Visual("tail"),
    "statement": lambda _, __: Hearsay("seller"),
}
