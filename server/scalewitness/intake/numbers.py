"""Putting numbers in force that the record learned: at most once in a quarter."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from scalewitness.domain.errors import NotNow
from scalewitness.domain.facts import NumbersAdopted
from scalewitness.domain.sexing.case import share
from scalewitness.domain.sexing.kept import KEPT
from scalewitness.domain.sexing.parameters import CALL_BY_CALL, released
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch
from scalewitness.intake.dry_run import Foreseen, foresee
from scalewitness.intake.reassessing import RECORD, reassess_due
from scalewitness.standings.models import AdoptedNumbers
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.due import relabelled
from scalewitness.standings.queries.learned import (
    NightlyNumbers,
    candidate,
    latest_version,
    may_follow,
    next_version,
)
from scalewitness.standings.services import store_numbers


def adopt_numbers(now: datetime) -> AdoptedNumbers:
    """Put the latest candidate in force, and state anew those animals whose label it changes.
    Where that is stopped, the next run of the clock goes on.

    Raises:
        NotNow: there is none, or it says nothing new, or the last came into force less than a
            quarter ago.
    """
    with transaction.atomic():
        batch = Batch(RECORD, now)
        adopted = store_numbers(batch.state("numbers_adopted", fresh_id(now), _next(now)))
        batch.flush()
    reassess_due(now)
    return adopted


def foresee_numbers(now: datetime) -> Foreseen:
    """What :func:`adopt_numbers` would do; nothing is recorded.

    Raises:
        NotNow: as that would.
    """
    body = _next(now)

    def adopt(batch: Batch) -> tuple[UUID, str]:
        logged = batch.state("numbers_adopted", fresh_id(now), body)
        store_numbers(logged)
        return logged.id, "numbers_adopted"

    return foresee(adopt, relabelled, now)


def _next(now: datetime) -> NumbersAdopted:
    base, last = released(yardstick().parameters), latest_version()
    found = _learned(candidate(), base)
    if last is not None and last.numbers == found.numbers and released(last.version) == base:
        raise NotNow(f"The numbers of {last.version} are in force, and last night's are the same.")
    earliest = may_follow(last)
    if last is not None and earliest is not None and now < earliest:
        raise NotNow(
            f"The numbers of {last.version} came into force on {_day(last.at)}. New ones may "
            f"come into force once in a quarter: from {_day(earliest)} on."
        )
    return NumbersAdopted(
        version=next_version(base),
        learned_until=found.learned_until,
        kept=share(KEPT.value),
        numbers=found.numbers,
    )


def _day(at: datetime) -> str:
    return f"{at.day} {at:%B %Y}"


def _learned(found: NightlyNumbers | None, base: str) -> NightlyNumbers:
    if base in CALL_BY_CALL:
        raise NotNow(f"The record is kept by {base}, which learns nothing: see adopt_policy.")
    if found is None or not found.numbers:
        raise NotNow(
            "Nothing has been learned yet. Numbers are learned every night, once enough animals "
            "were settled by confirmed proof."
        )
    if found.builds_on != base:
        raise NotNow(
            f"What was learned last night builds on {found.builds_on}, and the record is now kept "
            f"by {base}. Wait until it is learned anew tonight, or run learn_numbers."
        )
    return found
