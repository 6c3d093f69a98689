"""The two sides of a dispute: the calls that say male and those that say female."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import msgspec

from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.gauge import case_by
from scalewitness.mail.templatetags.words import likelihood
from scalewitness.pages.animals.evidence import CallInWords
from scalewitness.standings.queries.dossier import Dossier


@dataclass(frozen=True, slots=True)
class OneSide:
    """``alone``: what the record would say if only these of its calls counted, and ``likely`` that
    in words; None where none of them counts."""

    sex: Literal["male", "female"]
    calls: tuple[CallInWords, ...]
    alone: Standing | None
    likely: str


def sides_of(case: Dossier, calls: Sequence[CallInWords]) -> tuple[OneSide, OneSide]:
    """Female first, as on the sign's line."""
    return _side("female", case, calls), _side("male", case, calls)


def undecided(calls: Sequence[CallInWords]) -> list[CallInWords]:
    return [one for one in calls if one.call.conclusion == "undetermined"]


def _side(sex: Literal["male", "female"], case: Dossier, calls: Sequence[CallInWords]) -> OneSide:
    own = tuple(one for one in calls if one.call.conclusion == sex)
    ids = {str(one.call.pk) for one in own}
    evidence = [one for one in case.evidence if one.call in ids]
    if not evidence:
        return OneSide(sex, own, None, "")
    alone = case_by(case.by, case.basis.origin.species, evidence, case.start).standing(
        case.by.policy
    )
    return OneSide(sex, own, alone, likelihood(msgspec.to_builtins(alone)))
