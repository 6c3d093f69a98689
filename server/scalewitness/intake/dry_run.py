"""What a policy would change if it were adopted: animal by animal, with nothing written."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from uuid import UUID

from django.db import transaction

from scalewitness.domain.facts import PolicyAdopted
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch
from scalewitness.intake.consequences import settle
from scalewitness.intake.reassessing import READ_TOGETHER, RECORD
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import labels_of
from scalewitness.standings.services import store_policy

Moved = tuple[str, str]
"""Label before and after."""


class Foreseen:
    """``labels``: how many animals go from one label to another, those that keep theirs too;
    ``letters``: how many of each kind would be owed; ``readers``: who would get them, in one
    letter each."""

    def __init__(self) -> None:
        self.labels: Counter[Moved] = Counter()
        self.letters: Counter[str] = Counter()
        self.readers: set[UUID] = set()


def foresee(policy: PolicyAdopted, now: datetime) -> Foreseen:
    """Everything that adopting it would do, done and taken back again, a few animals at a time,
    so that the log is locked no longer than for stating it."""
    found, animals = Foreseen(), _with_a_standing()
    while some := list(islice(animals, READ_TOGETHER)):
        with transaction.atomic():
            _try(policy, some, now, found)
            transaction.set_rollback(True)
    return found


def _with_a_standing() -> Iterator[UUID]:
    return iter(
        list(Standing.objects.order_by("animal").values_list("animal", flat=True).distinct())
    )


def _try(policy: PolicyAdopted, animals: list[UUID], now: datetime, found: Foreseen) -> None:
    batch = Batch(RECORD, now)
    adoption = batch.state("policy_adopted", fresh_id(now), policy)
    store_policy(adoption)
    before = labels_of(animals)
    for animal in animals:
        batch.touch(animal, adoption.id, "policy_adopted")
    settle(batch)
    batch.flush()
    after = labels_of(animals)
    found.labels.update((before[one], after[one]) for one in animals)
    found.letters += batch.letters.kinds
    found.readers |= batch.letters.readers
