"""Animals that a guest is still to check blind.

What examiners' records count of such an animal stands still, since a count that moves would
tell the guest what somebody else found. It stands still as it is: nothing of the animal is
added, and nothing that was counted is taken away. It is so as long as the call may still come in
(`animals.queries.grants`), also for two weeks after the visit: else who kept their phone offline
could wait for a count to move. An animal that died is not waited for. One that is lost or stolen
is, as it may come back while the visit is open.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from django.db.models import OuterRef, Subquery

from scalewitness.animals.queries.grants import LATE_LIMIT, awaited_until
from scalewitness.calls.models import Call
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Grant, GrantAnimal
from scalewitness.standings.models import ExaminerRecord

NEVER = -1
"""Before the log's first entry."""


MISTAKEN = timedelta(days=7)
"""That an animal died ends no blind check before it has stood so long: the wrong tub's is put
right sooner (our judgement)."""


class Death(NamedTuple):
    """That an animal died, which stood at least for `MISTAKEN`: ``final`` from then on, and
    ``put_right`` at that log position after all, None while it stands."""

    final: datetime
    put_right: int | None


class LogPoint(NamedTuple):
    """Just after the fact at a log position, which was logged at that moment."""

    position: int
    at: datetime


class BlindCheck(NamedTuple):
    """A guest's check of an animal, from the acceptance of the visit on; awaited ``until`` then at
    most, or until it would have been of an animal that died. ``made``: where in the log its call
    came in, None while none did."""

    accepted: int
    until: datetime
    made: int | None

    def is_open(self, then: LogPoint) -> bool:
        """Whether the guest's call was still to come."""
        made = self.made is not None and self.made <= then.position
        return self.accepted <= then.position and self.until > then.at and not made


def deaths_of(animals: Iterable[UUID]) -> dict[UUID, list[Death]]:
    """By animal, whenever its keeper stated that it died; those of which nobody did are absent."""
    rows = Entry.objects.filter(about__in=list(animals), kind__in=["animal_ended", "end_corrected"])
    stated: dict[UUID, datetime] = {}
    found: defaultdict[UUID, list[Death]] = defaultdict(list)
    fields = ("about", "position", "received_at", "kind", "leaf")
    for animal, position, at, kind, leaf in rows.order_by("position").values_list(*fields):
        if kind == "animal_ended" and read_leaf(bytes(leaf)).body["why"] == "died":
            stated[animal] = at
        elif animal in stated and (died := stated.pop(animal)) + MISTAKEN <= at:
            found[animal].append(Death(died + MISTAKEN, position))
    for animal, died in stated.items():
        found[animal].append(Death(died + MISTAKEN, None))
    return dict(found)


def final_after(deaths: Iterable[Death], position: int, closes: datetime | None) -> datetime | None:
    """When it was that a check which was arranged at that log position, until it ``closes``, was
    of an animal that died; None where it never was."""
    final = [one.final for one in deaths if one.put_right is None or one.put_right > position]
    return min((one for one in final if closes is None or one < closes), default=None)


def died_for(deaths: Iterable[Death], grants: Iterable[Grant]) -> datetime | None:
    """The first time that it was so for any of the grants."""
    listed = list(deaths)
    final = (final_after(listed, one.position, one.closes) for one in grants)
    return min((one for one in final if one is not None), default=None)


def counted_until(
    now: datetime, animals: Collection[UUID] | None = None
) -> dict[UUID, dict[UUID, int]]:
    """Of each animal, or each of ``animals``, that a guest is still to check blind, by examiner
    with a call on it: the log position until which the examiner's record counts what was said
    of the animal. It is that of their last record made up while nobody was to check the animal,
    else `NEVER`."""
    checks = _checks_of_awaited(now, animals)
    called = Call.objects.filter(animal__in=checks).order_by().values_list("animal", "examiner")
    pairs = set(called)
    records = _recorded({examiner for _, examiner in pairs})
    found: dict[UUID, dict[UUID, int]] = {animal: {} for animal in checks}
    for animal, examiner in pairs:
        found[animal][examiner] = _last_free(checks[animal], records.get(examiner, ()))
    return found


def stood_still(now: datetime, points: Sequence[LogPoint]) -> dict[UUID, int]:
    """Of each animal that a guest is still to check blind: the log position of the first of the
    ``points`` at which nobody was, else `NEVER`."""
    checks = _checks_of_awaited(now, None)
    return {animal: _last_free(made, points) for animal, made in checks.items()}


def _checks_of_awaited(
    now: datetime, animals: Collection[UUID] | None
) -> Mapping[UUID, Sequence[BlindCheck]]:
    """All that were ever to be made of each animal of which one is open now."""
    made = Call.objects.filter(
        animal=OuterRef("animal"), by=OuterRef("grant__to"), visit=OuterRef("grant")
    )
    rows = GrantAnimal.objects.filter(grant__blind=True).annotate(
        made=Subquery(made.order_by("position").values("position")[:1])
    )
    if animals is not None:
        rows = rows.filter(animal__in=animals)
    awaited = rows.filter(made=None, grant__closes__gt=now - LATE_LIMIT).values("animal")
    arranged = list(rows.filter(animal__in=awaited).select_related("grant__end"))
    until = awaited_until([one.grant for one in arranged])
    deaths = deaths_of({one.animal for one in arranged})
    found: defaultdict[UUID, list[BlindCheck]] = defaultdict(list)
    for one in arranged:
        accepted, last = one.grant.position, until[one.grant_id]
        died = final_after(deaths.get(one.animal, ()), accepted, one.grant.closes)
        found[one.animal].append(BlindCheck(accepted, min(last, died or last), one.made))
    return {
        animal: checks
        for animal, checks in found.items()
        if any(one.made is None and one.until > now for one in checks)
    }


def _recorded(examiners: Iterable[UUID]) -> dict[UUID, list[LogPoint]]:
    """When the record of each was made up, the latest first."""
    logged = Entry.objects.filter(position=OuterRef("position")).values("received_at")
    rows = ExaminerRecord.objects.filter(examiner__in=list(examiners)).order_by("-position")
    found: defaultdict[UUID, list[LogPoint]] = defaultdict(list)
    for examiner, position, at in rows.annotate(at=Subquery(logged)).values_list(
        "examiner", "position", "at"
    ):
        found[examiner].append(LogPoint(position, at))
    return found


def _last_free(checks: Iterable[BlindCheck], records: Iterable[LogPoint]) -> int:
    free = (then for then in records if not any(check.is_open(then) for check in checks))
    return next((then.position for then in free), NEVER)
