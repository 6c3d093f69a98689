"""On which simulated animals a second method was used, and how many of them it verifies."""

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.histories import Record, standing_of
from bench.simulated import Drawn
from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY

BEFORE = "sexing-2"


class Result(NamedTuple):
    """What somebody found who knew no answer."""

    examiner: str
    method: Method
    sex: Sex


class SecondMethod(NamedTuple):
    """Animals that two people who knew no answer examined, each by another method, each with a
    result: ``used`` so many, ``verified`` so many of them; the same of those where all such
    results ``agree``; of those that the version before ``verified_before``, so many ``still``."""

    used: int = 0
    verified: int = 0
    agree: int = 0
    agree_verified: int = 0
    verified_before: int = 0
    still: int = 0

    def __str__(self) -> str:
        return (
            f"{_share(self.verified, self.used)}; where the methods agree "
            f"{_share(self.agree_verified, self.agree)}; of those that {BEFORE} verified "
            f"{_share(self.still, self.verified_before)}"
        )


def second_method(drawn: Drawn, standings: Sequence[Standing]) -> SecondMethod:
    """Of one draw."""
    each = [
        _of_one(record, standing, len({one.sex for one in found}) == 1)
        for record, standing in zip(drawn.records, standings, strict=True)
        if (found := results(record))
    ]
    return together(each)


def together(found: Sequence[SecondMethod]) -> SecondMethod:
    """All animals counted."""
    return SecondMethod(*(sum(column) for column in zip(SecondMethod(), *found, strict=True)))


def _of_one(record: Record, standing: Standing, agree: bool) -> SecondMethod:
    verified = standing.label.startswith("verified")
    before = standing_of(record, load_parameters(BEFORE)).label.startswith("verified")
    return SecondMethod(1, verified, agree, agree and verified, before, before and verified)


def results(record: Record) -> list[Result]:
    """What those found who knew no answer, if two of them used different methods; else nothing."""
    found = list(_independent(record))
    two = any(one.examiner != b.examiner and one.method != b.method for one in found for b in found)
    return found if two else []


def _independent(record: Record) -> Iterator[Result]:
    for call in record.evidence:
        examined = call.method not in DEFAULT_POLICY.excluded and call.report != "unconfirmed"
        if examined and call.anchored_to is None and call.conclusion != "undetermined":
            yield Result(call.examiner, call.method, call.conclusion)


def _share(part: int, whole: int) -> str:
    return f"{part:,} of {whole:,} ({100 * part / max(1, whole):.1f} in 100)"
