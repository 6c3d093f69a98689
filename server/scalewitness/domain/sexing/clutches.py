"""A clutch in the trade's count, and its sex ratio.

The ratio is not taken from standings: a hatchling in which nothing everted seldom becomes a
probable female, so an even clutch sexed by hand would seem to be nearly all male. It is taken
from what the first check of each of the young showed. How many males such a check overlooks is
known only within bounds, so an uneven clutch is one that no share within them explains.
"""

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import Conclusion, Eversion, Method, Sex
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson, log_chances
from scalewitness.domain.sexing.examiners.drift import EVEN
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.tables import table

_UNLIKELY, _FEW = (float(table("clutches.toml")[name]["value"]) for name in ("unlikely", "few"))
_LEAST = int(table("clutches.toml")["least"]["value"])


class Tally(Struct, frozen=True):
    """A clutch in the trade's count."""

    males: int
    females: int
    unsexed: int

    def __str__(self) -> str:
        """Males.females.unsexed, as in 3.4.1."""
        return f"{self.males}.{self.females}.{self.unsexed}"


def tally(conclusions: Iterable[Conclusion]) -> Tally:
    """Counts by conclusion."""
    found = list(conclusions)
    return Tally(*(found.count(one) for one in ("male", "female", "undetermined")))


class FirstCheck(Struct, frozen=True):
    """What the first check of one of the young showed; ``sex`` None: nothing everted.
    ``shows``: of males, the least share in which such a check shows it."""

    sex: Sex | None
    shows: float = 1.0


class Ratio(Struct, frozen=True):
    """``males`` among the ``checked`` young, ``nothing`` of which did not evert; ``unnoted``: of
    how many more that may be so. ``p``: twice the smaller tail, at most 1, under the share of
    males shown in an even clutch that explains it best. ``low`` and ``high``: the share of males
    behind it, with at least 95 % confidence."""

    males: int
    checked: int
    nothing: int
    unnoted: int
    p: float
    low: float
    high: float
    text: str

    @property
    def unusual(self) -> bool:
        return self.p < _UNLIKELY


# --- what was seen ------------------------------------------------------------------------

EITHER_SEX: Final[frozenset[Method]] = frozenset(
    {"probing", "ultrasound", "radiography", "endoscopy", "dna", "scale_count"}
)
"""Examinations that may find either sex. Eggs, and hemipenes out by themselves, are noted of
one sex only: those of the other are not among the checked, so they tell nothing of a ratio."""


def first_check(calls: Iterable[Evidence], parameters: Parameters) -> FirstCheck | None:
    """The first check somebody made without knowing an earlier answer; that nothing everted
    only where nobody saw more. ``calls`` count, and stand in log order."""
    found = [
        _as_check(call, parameters)
        for call in calls
        if call.anchored_to is None and call.identified != "mismatch"
    ]
    sure = (one for one in found if one is not None and one.sex is not None)
    return next(sure, next((one for one in found if one is not None), None))


def _as_check(call: Evidence, parameters: Parameters) -> FirstCheck | None:
    if isinstance(call.observed, Eversion):
        return _eversion(call.observed, call, parameters)
    if call.method in EITHER_SEX and call.conclusion != "undetermined":
        return FirstCheck(call.conclusion)
    return None


def _eversion(observed: Eversion, call: Evidence, parameters: Parameters) -> FirstCheck | None:
    """That nothing everted shows no female, whatever was concluded from it."""
    sexes: dict[tuple[str, Conclusion], Sex | None] = {
        ("hemipenes", "male"): "male",
        ("nothing", "female"): None,
        ("nothing", "undetermined"): None,
    }
    kind = observed.seen, call.conclusion
    if observed.manner != "manual" or kind not in sexes:
        return None
    share = f"eversion.manual.hemipenes.{call.stage}.male"
    return FirstCheck(
        sexes[kind], min(parameters.base.value(share), parameters.pessimistic.value(share))
    )


# --- the ratio ----------------------------------------------------------------------------


def sex_ratio(found: Sequence[FirstCheck], others: int = 0) -> Ratio | None:
    """Whether males are too many or too few for an even clutch; None for fewer than six
    checked young. ``others``: young of which no check tells.

    Too many: for a check that shows every male. Where some were everted, the ``others`` count
    as not male, since whoever everts may write down those only in which something came out.
    Too few: for checks that show no more males than their least share. Young that differ in
    it are taken at its mean, which makes tails longer, never shorter (Hoeffding 1956)."""
    checked = len(found)
    if checked < _LEAST:
        return None
    males = sum(one.sex == "male" for one in found)
    shows = sum(one.shows for one in found) / checked
    unnoted = others if shows < 1 else 0
    at_most = checked + unnoted
    p = 2 * min(_tail(males, checked, EVEN * shows), _tail(at_most - males, at_most, 1 - EVEN))
    ratio = Ratio(
        males=males,
        checked=checked,
        nothing=sum(one.sex is None for one in found),
        unnoted=unnoted,
        p=min(1.0, p),
        low=clopper_pearson(males, at_most)[0],
        high=min(1.0, clopper_pearson(males, checked)[1] / shows),
        text="",
    )
    return replace(ratio, text=_in_words(ratio))


def _tail(k: int, n: int, share: float) -> float:
    """The binomial chance of at most ``k`` of ``n``."""
    return float(np.exp(log_chances(n, share))[: k + 1].sum())


def _in_words(ratio: Ratio) -> str:
    text = f"{ratio.males} males among {ratio.checked} young checked"
    if ratio.unusual:
        rare = "fewer than 1" if ratio.p < 0.01 else f"about {100 * ratio.p:.0f}"
        text += (
            f". An even clutch looks as uneven by chance in {rare} of 100, and sooner where young "
            f"of one sex have left already.{_without_a_father(ratio)} {_mistaken(ratio)}"
        )
    else:
        text += " is nothing unusual."
    if ratio.nothing:
        text += f" Nothing everted in {ratio.nothing} of them, which also happens in males."
    if ratio.unnoted:
        text += f" Of {ratio.unnoted} more nothing is noted; it may be that nothing everted."
    return text + (" One clutch can show very little." if ratio.checked < _FEW else "")


def _without_a_father(ratio: Ratio) -> str:
    """The sources stand in the data file."""
    if 0 < ratio.males < ratio.checked:
        return ""
    return (
        " Unless a test proved who sired them, think first of young without a father "
        "(parthenogenesis), which are often all of one sex: a parentage test would tell."
    )


def _mistaken(ratio: Ratio) -> str:
    many = ratio.males > ratio.checked * EVEN
    taken, truly = ("males", "females") if many else ("females", "males")
    return (
        f"It may also be that {truly} were taken for {taken}: another check, by somebody who "
        "does not know the first answer, would show that."
    )
