"""What the record learned of its own numbers, and what it may learn next."""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.domain.facts import AdoptedNumber
from scalewitness.standings.queries.learned import (
    NightlyNumbers,
    Version,
    candidate,
    may_follow,
    shown,
    versions,
)

Unit = Annotated[str, Meta(description="What `value` counts: a share, scales, or times as many.")]


class NumberShown(Struct, frozen=True):
    """``about`` says it in words; ``low`` and ``high`` hold it with 95 in 100. The counts say what
    it was learned from."""

    name: str
    about: str
    unit: Unit
    value: Decimal
    low: Decimal
    high: Decimal
    males: int
    females: int
    examiners: int
    collections: int


class VersionShown(Struct, frozen=True):
    """Numbers that came into force ``at`` that time, in a fact at that log position. They were
    learned from the first ``learned_until`` entries. ``not_shown``: how many of them tell of too
    few animals, or of one examiner; these stand beside the answers that they entered."""

    version: str
    position: int
    at: datetime
    learned_until: int
    numbers: list[NumberShown]
    not_shown: int


class CandidateShown(Struct, frozen=True):
    """Numbers that are not in force."""

    made_at: datetime
    learned_until: int
    builds_on: str
    numbers: list[NumberShown]
    not_shown: int


class LearnedShown(Struct, frozen=True):
    """``versions``: all that ever came into force, the latest first, which is in force now.
    ``candidate``: what was learned last night. It comes into force when the operator adopts it,
    and not before ``may_follow``; null says that nothing came into force so far."""

    versions: list[VersionShown]
    candidate: CandidateShown | None
    may_follow: datetime | None


@operation("Show what the record learned", gives={200: LearnedShown})
def show_learned(request: Request) -> Response:
    """How often checks go wrong, how many animals mislead a method, how deep species probe: from
    animals that confirmed proof settled, and who had checked them without knowing an answer."""
    found, last = versions(), candidate()
    return Response(
        LearnedShown(
            [_version(one) for one in found],
            _candidate(last) if last else None,
            may_follow(found[0] if found else None),
        )
    )


def _version(one: Version) -> VersionShown:
    numbers = _numbers(one.numbers)
    rest = len(one.numbers) - len(numbers)
    return VersionShown(one.version, one.position, one.at, one.learned_until, numbers, rest)


def _candidate(one: NightlyNumbers) -> CandidateShown:
    numbers = _numbers(one.numbers)
    rest = len(one.numbers) - len(numbers)
    return CandidateShown(one.made_at, one.learned_until, one.builds_on, numbers, rest)


def _numbers(numbers: Iterable[AdoptedNumber]) -> list[NumberShown]:
    return [
        NumberShown(
            name=one.name,
            about=about.about,
            unit=about.unit,
            value=Decimal(one.value),
            low=Decimal(one.low),
            high=Decimal(one.high),
            males=one.males,
            females=one.females,
            examiners=one.examiners,
            collections=one.collections,
        )
        for one, about in shown(numbers)
    ]
