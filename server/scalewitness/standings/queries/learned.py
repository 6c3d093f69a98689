"""What the record learned: the candidate of last night, what is in force, and when the next may
come into force.

Everybody who is signed in may read it, so it tells of many animals in many collections only, and
of nobody in particular.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from msgspec import Struct, convert

from scalewitness.domain.facts import AdoptedNumber
from scalewitness.domain.sexing.kept import QUARTER_DAYS
from scalewitness.domain.sexing.learning.words import Meaning, meaning
from scalewitness.domain.sexing.parameters import released
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.standings.models import AdoptedNumbers, NumbersCandidate

FEWEST_ANIMALS, FEWEST_COLLECTIONS = 20, 5
"""That a number is shown of, beside what it entered (our judgement: as many as depths are learned
from at least, so that nobody finds one animal in it)."""
QUARTER = timedelta(days=QUARTER_DAYS.value)


class Version(Struct, frozen=True):
    """Numbers that came into force at a log position, at that time. ``learned_until``: from how
    many entries of the log."""

    version: str
    position: int
    at: datetime
    learned_until: int
    numbers: tuple[AdoptedNumber, ...]


class NightlyNumbers(Struct, frozen=True):
    """Numbers that are not in force; ``builds_on`` a released version."""

    made_at: datetime
    learned_until: int
    builds_on: str
    numbers: tuple[AdoptedNumber, ...]


def versions() -> list[Version]:
    """All that ever came into force, the latest first."""
    return [_version(row) for row in AdoptedNumbers.objects.order_by("-position")]


def latest_version() -> Version | None:
    row = AdoptedNumbers.objects.order_by("-position").first()
    return _version(row) if row else None


def _version(row: AdoptedNumbers) -> Version:
    entry = entry_at(row.position)
    assert entry is not None  # noqa: S101  the row was stored with it
    return Version(
        row.version,
        row.position,
        entry.received_at,
        row.learned_until,
        convert(row.numbers, tuple[AdoptedNumber, ...]),
    )


def candidate() -> NightlyNumbers | None:
    """The latest."""
    row = NumbersCandidate.objects.order_by("-made_at").first()
    if row is None:
        return None
    numbers = convert(row.numbers, tuple[AdoptedNumber, ...])
    return NightlyNumbers(row.made_at, row.learned_until, row.builds_on, numbers)


def shown(numbers: Iterable[AdoptedNumber]) -> list[tuple[AdoptedNumber, Meaning]]:
    """Those that tell of enough animals and of nobody in particular, by what they are about."""
    found = (
        (one, about)
        for one in numbers
        if one.males + one.females >= FEWEST_ANIMALS
        and one.collections >= FEWEST_COLLECTIONS
        and (about := meaning(one.name))
    )
    return sorted(found, key=lambda pair: pair[1].about)


def may_follow(last: Version | None) -> datetime | None:
    """When the next may come into force; None: at any time."""
    return None if last is None else last.at + QUARTER


def next_version(builds_on: str) -> str:
    """The name of the next on that released version."""
    names = AdoptedNumbers.objects.values_list("version", flat=True)
    return f"{builds_on}.{1 + sum(released(name) == builds_on for name in names)}"
