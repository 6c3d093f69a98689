"""A whole clutch at once: reading a keeper's notes, the calls they make, the sex ratio."""

from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec
from msgspec import Struct

from scalewitness.domain.facts import CallMade, Id, Identification
from scalewitness.domain.observations import (
    DEEPEST,
    Conclusion,
    Eversion,
    Harm,
    Holder,
    Pass,
    Probing,
    Sex,
    Side,
    Sureness,
)
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson, two_sided
from scalewitness.domain.sexing.examiners.drift import EVEN
from scalewitness.domain.sexing.tables import table

_CONCLUSIONS: dict[str, Conclusion] = {
    "m": "male",
    "male": "male",
    "f": "female",
    "female": "female",
    "u": "undetermined",
    "undetermined": "undetermined",
}
_SIDES: tuple[Side, Side] = ("left", "right")


class ClutchRow(Struct, frozen=True):
    """One hatchling: its tag, what was concluded, and for probing the depth on each side in
    scales as written; a side not probed is None."""

    tag: str
    conclusion: Conclusion
    left: str | None = None
    right: str | None = None


class Together(Struct, frozen=True):
    """What is the same for the whole clutch."""

    method: Literal["probing", "eversion"]
    held_by: Holder
    sureness: Sureness = "fairly_sure"
    probe_mm: str | None = None
    visit: Id | None = None
    harm: tuple[Harm, ...] = ()


class RowProblem(Struct, frozen=True):
    """A row that cannot be used, by its number from 1, and why in words."""

    row: int
    text: str


class Tally(Struct, frozen=True):
    """A clutch in the trade's count."""

    males: int
    females: int
    unsexed: int

    def __str__(self) -> str:
        """Males.females.unsexed, as in 3.4.1."""
        return f"{self.males}.{self.females}.{self.unsexed}"


class Ratio(Struct, frozen=True):
    """Males among the sexed young against an expected share: exact two-sided binomial
    ``p``, and the exact 95 % interval of the share."""

    males: int
    females: int
    expected: float
    p: float
    low: float
    high: float
    text: str


def read_rows(text: str) -> tuple[list[ClutchRow], list[RowProblem]]:
    """Notes, one hatchling a line: tag, m or f or u, and for probing the left and right
    depth, a dash for a side not probed: ``H1 m 9 8.5``. Blank lines are passed over."""
    rows: dict[str, ClutchRow] = {}
    problems = []
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split()
        if not words:
            continue
        try:
            row = _row(words)
        except ValueError as wrong:
            problems.append(RowProblem(number, str(wrong)))
            continue
        if row.tag in rows:
            problems.append(RowProblem(number, f"the tag {row.tag} stands twice"))
        rows.setdefault(row.tag, row)
    return list(rows.values()), problems


def clutch_calls(rows: Iterable[ClutchRow], together: Together) -> list[tuple[str, CallMade]]:
    """A call for each hatchling, beside its tag; the tag is how it was told apart. Raises
    ValueError for depths with a method that has none."""
    return [(row.tag, _call(row, together)) for row in rows]


def tally(conclusions: Iterable[Conclusion]) -> Tally:
    """Counts by conclusion."""
    found = list(conclusions)
    return Tally(*(found.count(one) for one in ("male", "female", "undetermined")))


def sex_ratio(counted: Tally, expected: float = EVEN) -> Ratio:
    """The exact test of one clutch. Raises ValueError for an expected share outside (0, 1)
    or without a sexed animal.

    1:1 at birth was not rejected in 2,443 young of six species (Copeia 2011(4):553)."""
    n = counted.males + counted.females
    if n == 0 or not 0 < expected < 1:
        raise ValueError("a ratio needs sexed young and an expected share between 0 and 1")
    low, high = clopper_pearson(counted.males, n)
    p = two_sided(counted.males, n, expected)
    return Ratio(counted.males, counted.females, expected, p, low, high, _in_words(counted, p))


# --- rows -------------------------------------------------------------------------------


def _row(words: Sequence[str]) -> ClutchRow:
    if not 2 <= len(words) <= 4:
        raise ValueError("give the tag, m or f or u, and at most two depths")
    tag, letter, *depths = words
    conclusion = _CONCLUSIONS.get(letter.lower())
    if conclusion is None:
        raise ValueError(f"{letter} is neither m nor f nor u")
    left, right = ([_depth(one) for one in depths] + [None, None])[:2]
    return ClutchRow(tag, conclusion, left, right)


def _depth(written: str) -> str | None:
    if written == "-":
        return None
    depth = written.replace(",", ".").removesuffix(".0")
    try:
        found = msgspec.convert({"side": "left", "depth": depth, "stopped": "resistance"}, Pass)
    except msgspec.ValidationError:
        raise ValueError(f"{written} is not a depth in whole or half scales") from None
    if found.scales > DEEPEST:
        raise ValueError(f"{written} scales are deeper than any snake probes")
    return depth


def _call(row: ClutchRow, together: Together) -> CallMade:
    return CallMade(
        conclusion=row.conclusion,
        sureness=together.sureness,
        observed=_observed(row, together),
        identified=Identification(by="tag", code=row.tag),
        held_by=together.held_by,
        harm=together.harm,
        visit=together.visit,
    )


_SEEN: dict[Conclusion, Literal["hemipenes", "nothing", "unclear"]] = {
    "male": "hemipenes",
    "female": "nothing",
    "undetermined": "unclear",
}


def _observed(row: ClutchRow, together: Together) -> Probing | Eversion:
    depths = [(side, d) for side, d in zip(_SIDES, (row.left, row.right), strict=True) if d]
    if together.method == "probing":
        passes = tuple(Pass(side, depth, "resistance") for side, depth in depths)
        return Probing(passes, together.probe_mm)
    if depths:
        raise ValueError(f"{row.tag}: eversion has no depths")
    return Eversion("manual", _SEEN[row.conclusion])


# --- words ------------------------------------------------------------------------------

_UNLIKELY, _FEW = (float(table("clutches.toml")[name]["value"]) for name in ("unlikely", "few"))


def _in_words(counted: Tally, p: float) -> str:
    n = counted.males + counted.females
    text = f"{counted.males} males among {n} sexed young"
    if p >= _UNLIKELY:
        text += " is nothing unusual"
    else:
        towards: Sex = "male" if counted.males > counted.females else "female"
        text += (
            f" would be seen, or something more unusual, in {100 * p:.1f} of 100 clutches; "
            f"before anything else, check whether some were called {towards} by mistake"
        )
    note = " One clutch can show very little." if n < _FEW else ""
    return f"{text}.{note}"
