"""What a buyer is told of whoever checked an animal: one plain line each, without a name.

Counts are given in steps, so that none points at a person. Of animals that somebody is still to
check blind nothing is counted, but for the one at hand, whose checks the buyer reads anyway.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Set
from datetime import datetime
from typing import Final
from uuid import UUID

from django.db.models import Min, OuterRef, Q, QuerySet, Subquery

from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import reader_of
from scalewitness.domain.facts import ExaminerRecordChanged, Footing
from scalewitness.examiners.settled import hidden_from
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Grant
from scalewitness.standings.queries.awaited import counted_until
from scalewitness.standings.queries.dossier import Dossier
from scalewitness.standings.queries.footing import footings_of
from scalewitness.standings.queries.records import latest_records

UNITS: Final = (("year", 365, 730), ("month", 30, 70), ("week", 7, 14), ("day", 1, 1))
"""Of time: in days, and from how many days on it is said in it (our judgement)."""
MANY_HOSTS: Final = 5
"""From so many keepers on it is not said how many (our judgement)."""
STEPS: Final = (500, 200, 100, 50, 20, 8)
"""At least so many are settled; with fewer than the last, few are (our judgement)."""
RARELY, OFTEN = 20, 8
"""One in so many wrong is what makes a good record, and what ends a footing."""

BY_FOOTING: Final = {
    "founder": "named by the operator when nobody had a record here",
    "vouched": "keepers with a record here vouch for them",
    "none": "their word alone verifies nothing now",
}


def backgrounds_of(
    known: Dossier, seller: UUID, viewer: UUID | None, now: datetime
) -> dict[UUID, str]:
    """A sentence for each examiner with a call of their own that counts. ``viewer`` None: a buyer
    without an account."""
    calls = [one.call for one in known.calls if one.counts and one.call.role == "keeper"]
    who = {call.examiner for call in calls}
    hidden = set() if viewer is None else hidden_from(who, reader_of(viewer, now))
    since, hosts = _since(who), _hosts(who, known.animal.pk, now)
    records, footings = latest_records(of=who), footings_of(who)
    return {
        one: _sentence(
            _here(since.get(one, now), now),
            [LATER]
            if one in hidden
            else [
                *([] if one == seller else [_checked_for(hosts.get(one, frozenset()), seller)]),
                _settled(records.get(one)),
                *_tied(footings[one]),
            ],
        )
        for one in who
    }


LATER: Final = "what else there is to know is told once you have made the checks you accepted"


def _sentence(first: str, more: Iterable[str]) -> str:
    return f"{'; '.join((first, *more))}."


def _since(who: Collection[UUID]) -> dict[UUID, datetime]:
    """When each said their first fact."""
    entries = Entry.objects.filter(by__in=who).order_by()
    return dict(entries.values_list("by").annotate(Min("received_at")))


def _here(since: datetime, now: datetime) -> str:
    days = (now - since).days
    for unit, length, least in UNITS:
        if days >= least:
            count = days // length
            return f"Here for {count} {unit}{'' if count == 1 else 's'}"
    return "Here since today"


def _hosts(who: Collection[UUID], animal: UUID, now: datetime) -> dict[UUID, Set[UUID]]:
    """The keepers as whose guest each made checks."""
    grant = Grant.objects.filter(pk=OuterRef("visit")).values("collection")
    host = AnimalCollection.objects.filter(pk=OuterRef("room")).values("keeper")
    made = Call.objects.filter(examiner__in=who, role="keeper", visit__isnull=False)
    free = _free(made, animal, now)
    rows = free.annotate(room=Subquery(grant)).annotate(host=Subquery(host))
    found: defaultdict[UUID, set[UUID]] = defaultdict(set)
    for examiner, keeper in rows.values_list("examiner", "host").distinct():
        if keeper not in (None, examiner):
            found[examiner].add(keeper)
    return dict(found)


def _free(made: "QuerySet[Call]", animal: UUID, now: datetime) -> "QuerySet[Call]":
    called = set(made.order_by().values_list("animal", flat=True))
    awaited = set(counted_until(now, called)) - {animal}
    return made.filter(~Q(animal__in=awaited)).order_by()


def _checked_for(hosts: Set[UUID], seller: UUID) -> str:
    if not hosts:
        return "checked as nobody's guest"
    if len(hosts) == 1:
        return f"checked for {'this seller' if seller in hosts else 'one other keeper'} only"
    count = "many" if len(hosts) >= MANY_HOSTS else str(len(hosts))
    return f"checked for {count} keepers{', this seller among them' if seller in hosts else ''}"


def _settled(record: ExaminerRecordChanged | None) -> str:
    counts: Counter[str] = Counter()
    for one in record.counts if record else ():
        counts.update(wrong=one.wrong, calls=one.wrong + one.right)
    wrong, calls = counts["wrong"], counts["calls"]
    if not calls:
        return "none of their checks is settled yet"
    least = next((step for step in STEPS if calls >= step), None)
    if least is None:
        return f"few of their checks are settled, {'some wrong' if wrong else 'all right'}"
    return f"at least {least} of their checks are settled, {_how_many(wrong, calls)}"


def _how_many(wrong: int, calls: int) -> str:
    if not wrong:
        return "all right"
    if wrong * RARELY <= calls:
        return f"at most one in {RARELY} wrong"
    return f"{'at most' if wrong * OFTEN <= calls else 'more than'} one in {OFTEN} wrong"


def _tied(footing: Footing) -> Iterator[str]:
    """Why their word may verify a sex now, where their own record does not say it."""
    if footing in BY_FOOTING:
        yield BY_FOOTING[footing]
