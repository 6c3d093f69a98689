"""What a policy, or numbers, would change if adopted: animal by animal, with nothing written."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from itertools import islice
from uuid import UUID

from django.db import transaction

from scalewitness.intake.batch import Batch
from scalewitness.intake.consequences import settle
from scalewitness.intake.reassessing import READ_TOGETHER, RECORD
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import labels_of

Moved = tuple[str, str]
"""Label before and after."""
Adopt = Callable[[Batch], tuple[UUID, str]]
"""States and stores what would be adopted: the fact's id and kind."""
Reassessed = Callable[[list[UUID]], Iterable[UUID]]
"""Which of some animals would be stated anew."""


class Foreseen:
    """``labels``: how many animals go from one label to another, those that keep theirs too;
    ``letters``: how many of each kind would be owed; ``readers``: who would get them, in one
    letter each."""

    def __init__(self) -> None:
        self.labels: Counter[Moved] = Counter()
        self.letters: Counter[str] = Counter()
        self.readers: set[UUID] = set()


def foresee(adopt: Adopt, reassessed: Reassessed, now: datetime) -> Foreseen:
    """Everything that adopting it would do, done and taken back again, a few animals at a time,
    so that the log is locked no longer than for stating it."""
    found, animals = Foreseen(), _with_a_standing()
    while some := list(islice(animals, READ_TOGETHER)):
        with transaction.atomic():
            _try(adopt, reassessed, some, now, found)
            transaction.set_rollback(True)
    return found


def _with_a_standing() -> Iterator[UUID]:
    return iter(
        list(Standing.objects.order_by("animal").values_list("animal", flat=True).distinct())
    )


def _try(
    adopt: Adopt, reassessed: Reassessed, animals: list[UUID], now: datetime, found: Foreseen
) -> None:
    batch = Batch(RECORD, now)
    cause, before = adopt(batch), labels_of(animals)
    for animal in reassessed(animals):
        batch.touch(animal, *cause)
    settle(batch)
    batch.flush()
    after = labels_of(animals)
    found.labels.update((before[one], after[one]) for one in animals)
    found.letters += batch.letters.kinds
    found.readers |= batch.letters.readers


def in_lines(found: Foreseen) -> Iterator[str]:
    """For the operator to read."""
    moved = {pair: count for pair, count in found.labels.items() if pair[0] != pair[1]}
    yield f"{found.labels.total()} animals with a standing; {sum(moved.values())} change label:"
    for (before, after), count in sorted(moved.items()):
        yield f"{count:8,}  {before} → {after}"
    yield f"Letters owed: {len(found.readers)}, one to each reader, which tell in all of:"
    for kind, count in sorted(found.letters.items()):
        yield f"{count:8,}  {kind}"
    yield "Nothing was recorded."
