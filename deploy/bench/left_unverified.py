"""Simulated animals on which two methods agreed and that are not verified: how many of them are
of that sex, and what keeps each from it."""

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final, NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.histories import Record, standing_of
from bench.second_method import results
from bench.simulated import PROOFS, Drawn
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.sessions import BLIND_FOLLOWED

LEARNED: Final = {
    BLIND_FOLLOWED: "blind calls are doubted",
    "error.": "error rates were learned",
    "mislead.": "misleading shares were learned",
    "": "something else was learned",
}
"""By how the names of numbers begin, what is no longer learned once they are as held."""
NOTHING_POPPED: Final = "a female, popped as nothing"
TOO_LITTLE: Final = "less than 0.99 as held"
PESSIMISTIC: Final = "less than 0.95 by the pessimistic numbers alone"
ASKED: Final = "the rule asks for more than that they agree"


class Left(NamedTuple):
    """``right`` of so many are of the sex that both methods gave. ``why`` counts what keeps them:
    each is counted for the first of `LEARNED` with which, and those before it, as held it is
    verified, and where it is not then either, for what is missing. ``proof``: of all on which
    methods agreed, one of them DNA or endoscopy, how many there are and how many are verified."""

    count: int
    right: int
    why: Counter[str]
    proof: tuple[int, int]

    def __str__(self) -> str:
        why = "; ".join(f"{name} {count}" for name, count in self.why.most_common())
        of, verified = self.proof
        return (
            f"{self.count} are not verified, of which {self.right} are of that sex: {why}. "
            f"Of {of} with a proof among them {verified} are verified"
        )


def left_unverified(
    drawn: Drawn,
    standings: Sequence[Standing],
    learned: Sequence[LearnedNumber],
    parameters: Parameters,
) -> Left:
    """Of one draw, judged with what was learned."""
    steps = list(_as_held(learned, parameters))
    count, right, why, proofs, verified = 0, 0, Counter[str](), 0, 0
    for record, standing, sex in zip(drawn.records, standings, drawn.sexes, strict=True):
        found = results(record)
        if len({one.sex for one in found}) != 1:
            continue
        named = standing.label.startswith("verified")
        if any(one.method in PROOFS for one in found):
            proofs, verified = proofs + 1, verified + named
        if not named:
            count, right = count + 1, right + (found[0].sex == sex)
            why[_why(record, found[0].sex, steps)] += 1
    return Left(count, right, why, (proofs, verified))


def together(found: Sequence[Left]) -> Left:
    """All animals counted."""
    return Left(
        sum(one.count for one in found),
        sum(one.right for one in found),
        sum((one.why for one in found), Counter()),
        (sum(one.proof[0] for one in found), sum(one.proof[1] for one in found)),
    )


def _as_held(
    learned: Sequence[LearnedNumber], parameters: Parameters
) -> Iterator[tuple[str, Parameters]]:
    """Ever fewer of the numbers learned; the last is as held."""
    for begins, why in LEARNED.items():
        fewer = [one for one in learned if not one.name.startswith(begins)]
        if len(fewer) < len(learned):
            yield why, with_learned(parameters, fewer)
        learned = fewer
    yield "", parameters


def _why(record: Record, sex: Sex, steps: Sequence[tuple[str, Parameters]]) -> str:
    for why, numbers in steps:
        standing = standing_of(record, numbers)
        if why and standing.label.startswith("verified"):
            return why
    missing = [one for one in standing.reasons if one.startswith("below_")]
    if not missing:
        return ASKED
    if all(one.endswith("_pessimistic") for one in missing):
        return PESSIMISTIC
    popped = any(call.method == "eversion" for call in record.evidence)
    return NOTHING_POPPED if popped and sex == "female" else TOO_LITTLE
