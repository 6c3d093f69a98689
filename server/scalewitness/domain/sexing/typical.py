"""What a method usually shows when its conclusion is one sex or the other.

Used where a check has not been made yet: what it would do to a standing, and whether it
is worth making.
"""

from collections.abc import Callable
from decimal import Decimal

from scalewitness.domain.observations import (
    Conclusion,
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Method,
    Observation,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    Sex,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.taxa import Range, Taxon


class NoSuchFinding(ValueError):
    """This method cannot come to that conclusion."""


def typical(method: Method, conclusion: Conclusion, taxon: Taxon) -> Observation:
    """What such a check would show: a depth from the middle of the range on both sides, a
    marker of the species' own sex system. Raises NoSuchFinding for eggs from a male."""
    return _TYPICAL[method](conclusion, taxon)


def _probing(conclusion: Conclusion, taxon: Taxon) -> Probing:
    depth = None if conclusion == "undetermined" else _middle(taxon.depths(conclusion))
    if depth is None or taxon.male_range is None or taxon.female_range is None:
        return Probing()
    return Probing((Pass("left", depth, "resistance"), Pass("right", depth, "resistance")))


def _middle(given: Range | None) -> str | None:
    if given is None:
        return None
    halves = round(float(given[0] + given[1]))
    return f"{Decimal(halves) / 2:f}"


def _eversion(conclusion: Conclusion, _: Taxon) -> Eversion:
    if conclusion == "undetermined":
        return Eversion("manual", "unclear")
    return Eversion("manual", "hemipenes" if conclusion == "male" else "nothing")


def _ultrasound(conclusion: Conclusion, _: Taxon) -> Ultrasound:
    if conclusion == "undetermined":
        return Ultrasound("unclear")
    return Ultrasound("hemipenes" if conclusion == "male" else "pockets")


def _radiography(conclusion: Conclusion, _: Taxon) -> Radiography:
    if conclusion == "undetermined":
        return Radiography(True, "unclear")
    return Radiography(True, "hemipenes" if conclusion == "male" else "none")


def _endoscopy(conclusion: Conclusion, _: Taxon) -> Endoscopy:
    if conclusion == "undetermined":
        return Endoscopy("unclear")
    return Endoscopy("testes" if conclusion == "male" else "ovaries")


def _dna(conclusion: Conclusion, taxon: Taxon) -> Dna:
    """Where the system is not known an assay has to assume one, and says nothing."""
    system = "ZW" if taxon.sex_system == "unknown" else taxon.sex_system
    if conclusion == "undetermined":
        return Dna(system, "shed", "failed")
    two_kinds: Sex = "male" if system == "XY" else "female"
    return Dna(system, "shed", "heterogametic" if conclusion == two_kinds else "homogametic")


def _reproduction(conclusion: Conclusion, _: Taxon) -> Reproduction:
    if conclusion == "male":
        raise NoSuchFinding("eggs or young prove no male")
    return Reproduction("laid_eggs", witnessed=True)


def _scale_count(conclusion: Conclusion, taxon: Taxon) -> ScaleCount:
    """A count from the middle of what only that sex has."""
    male, female = taxon.male_subcaudals, taxon.female_subcaudals
    if male is None or female is None:
        return ScaleCount(0)
    low, high = {
        "male": (female[1] + 1, male[1]),
        "female": (female[0], male[0] - 1),
        "undetermined": (male[0], female[1]),
    }[conclusion]
    return ScaleCount(int(low + high) // 2)


_TYPICAL: dict[Method, Callable[[Conclusion, Taxon], Observation]] = {
    "probing": _probing,
    "eversion": _eversion,
    "ultrasound": _ultrasound,
    "radiography": _radiography,
    "endoscopy": _endoscopy,
    "dna": _dna,
    "reproduction": _reproduction,
    "scale_count": _scale_count,
    "visual": lambda _, __: Visual("tail"),
    "statement": lambda _, __: Hearsay("seller"),
}
