"""Letters about checks that came long after their visit: the guest hears what the host decided,
and both are reminded while nothing is decided. None says what a check found, nor what the animal
is called: its reader may be a guest who is still blind to it. Whoever keeps the animal by now and
never hosted the guest is not named to them, nor are they to the other.

Silence admits nothing: a day in the past that only its sender claims must not enter because its
host was away. So the call goes on waiting, and everybody who reads of the animal's sex reads that.
"""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from scalewitness.animals.models import Collection
from scalewitness.animals.queries import collection_of, is_steward
from scalewitness.calls.models import HeldCall
from scalewitness.calls.queries.held import waiting_since
from scalewitness.domain.facts import LateCallDecided
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import describe
from scalewitness.letters.owing import Owing
from scalewitness.mail.services import queueing as mail
from scalewitness.people.queries import grant_of, keeper_of, names_of

REMIND_AFTER = (timedelta(days=7), timedelta(days=30))
"""A week of holidays, and then a month, after which nobody need expect an answer (our
judgement)."""
NOT_THE_HOST = "the animal's keeper"
ANOTHERS_GUEST = "a guest of an earlier keeper"


def notify_of_decision(held: HeldCall, fact: Logged[LateCallDecided], owing: Owing) -> None:
    """Whoever made the call; their notes of that visit share its fate. Or whoever took a note that
    came without one."""
    examiner, visited = keeper_of(held.by), _visited(held)
    if examiner is None or fact.sender is None:
        return
    hosted = visited is not None and is_steward(fact.sender, visited, owing.now)
    is_call = held.kind == "call_made"
    owing.owe(
        "late_call_decided" if is_call else "late_note_decided",
        cause=fact.id,
        recipient=examiner.pk,
        to=examiner.email,
        context={
            "to_name": examiner.name,
            **_named("host", fact.sender if hosted else None, NOT_THE_HOST),
            "admitted": fact.body.admitted,
            **({"call": str(held.pk)} if is_call else {}),
            **_about(held),
        },
    )


def _visited(held: HeldCall) -> Collection | None:
    """The collection that its examiner was let into."""
    visit = held.submission["body"].get("visit")
    grant = grant_of(held.grant or UUID(visit)) if held.grant or visit else None
    return collection_of(grant.collection) if grant else None


def _named(part: str, person: UUID | None, otherwise: str) -> dict[str, str]:
    """Their name under ``part``, and their id, by which it is erased; nobody's: ``otherwise``."""
    if person is None:
        return {f"{part}_name": otherwise}
    return {f"{part}_name": names_of([person])[person], part: str(person)}


def _about(held: HeldCall) -> dict[str, Any]:
    """As its examiner knew the animal: by the code that they read."""
    return {
        "species": taxon(held.animal.species).common,
        "code": held.submission["body"].get("identified", {}).get("code") or "",
        "examined_at": held.submission["at"],
        "received_at": held.received_at.isoformat(),
    }


def remind_of_late_calls(now: datetime) -> int:
    """Write to guest and host about calls that wait for a decision, after a week and after a
    month; of several of one guest for one host, about the first. How many letters were due, also
    where they are owed already. Safe to repeat and to run twice at once."""
    first: dict[tuple[UUID, UUID, bool], list[HeldCall]] = {}
    for held in waiting_since(now - min(REMIND_AFTER)):
        keeper, visited = held.animal.collection.keeper_id, _visited(held)
        hosted = visited is not None and visited.keeper_id == keeper
        first.setdefault((held.by, keeper, hosted), []).append(held)
    with transaction.atomic():
        due = sum(_remind(calls, now, hosted=hosted) for (*_, hosted), calls in first.items())
    if due:
        mail.wake()
    return due


def _remind(calls: list[HeldCall], now: datetime, *, hosted: bool) -> int:
    oldest, host, guest = calls[0], calls[0].animal.collection.keeper, keeper_of(calls[0].by)
    days = max(one for one in REMIND_AFTER if oldest.received_at + one <= now).days
    context = {
        "count": len(calls),
        "days": days,
        **_named("host", host.pk if hosted else None, NOT_THE_HOST),
        **_named("guest", oldest.by if hosted else None, ANOTHERS_GUEST),
    }
    owing, cause = Owing(None, now), uuid5(oldest.pk, f"{days} days")
    owing.owe(
        "late_call_waits",
        cause=cause,
        recipient=host.pk,
        to=host.email,
        # The code that was read is the guest's word, and could say what was found.
        context={
            "to_name": host.name,
            **context,
            "animal": describe(oldest.animal),
            "examined_at": oldest.submission["at"],
            "received_at": oldest.received_at.isoformat(),
        },
    )
    if guest is not None:
        owing.owe(
            "late_call_waits_guest",
            cause=cause,
            recipient=guest.pk,
            to=guest.email,
            context={"to_name": guest.name, **context, **_about(oldest)},
        )
    return len(owing.readers)
