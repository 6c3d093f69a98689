"""Letters about checks that came long after their visit: the guest hears what the host decided,
and both are reminded while nothing is decided. None says what a check found, nor what the animal
is called: its reader may be a guest who is still blind to it.

Silence admits nothing: a day in the past that only its sender claims must not enter because its
host was away. So the call goes on waiting, and everybody who reads of the animal's sex reads that.
"""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction

from scalewitness.calls.models import HeldCall
from scalewitness.calls.queries.held import waiting_since
from scalewitness.domain.facts import LateCallDecided
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import describe
from scalewitness.letters.owing import Owing
from scalewitness.mail.services import queueing as mail
from scalewitness.people.queries import keeper_of, names_of

REMIND_AFTER = (timedelta(days=7), timedelta(days=30))
"""A week of holidays, and then a month, after which nobody need expect an answer (our
judgement)."""


def notify_of_decision(held: HeldCall, fact: Logged[LateCallDecided], owing: Owing) -> None:
    """Whoever made the call; their notes of that visit share its fate."""
    examiner = keeper_of(held.by)
    if examiner is None or fact.sender is None:
        return
    owing.owe(
        "late_call_decided",
        cause=fact.id,
        recipient=examiner.pk,
        to=examiner.email,
        context={
            "to_name": examiner.name,
            "host_name": names_of([fact.sender])[fact.sender],
            "admitted": fact.body.admitted,
            "call": str(held.pk),
            **_about(held),
        },
    )


def _about(held: HeldCall) -> dict[str, Any]:
    """As its examiner knew the animal: by the code that they read."""
    return {
        "species": taxon(held.animal.species).common,
        "code": held.submission["body"]["identified"].get("code") or "",
        "examined_at": held.submission["at"],
        "received_at": held.received_at.isoformat(),
    }


def remind_of_late_calls(now: datetime) -> int:
    """Write to guest and host about calls that wait for a decision, after a week and after a
    month; of several of one guest for one host, about the first. How many letters were due, also
    where they are owed already. Safe to repeat and to run twice at once."""
    first: dict[tuple[UUID, UUID], list[HeldCall]] = {}
    for held in waiting_since(now - min(REMIND_AFTER)):
        first.setdefault((held.by, held.animal.collection.keeper_id), []).append(held)
    with transaction.atomic():
        due = sum(_remind(calls, now) for calls in first.values())
    if due:
        mail.wake()
    return due


def _remind(calls: list[HeldCall], now: datetime) -> int:
    oldest, host, guest = calls[0], calls[0].animal.collection.keeper, keeper_of(calls[0].by)
    days = max(one for one in REMIND_AFTER if oldest.received_at + one <= now).days
    context = {
        "count": len(calls),
        "days": days,
        "host_name": host.name,
        "guest_name": names_of([oldest.by])[oldest.by],
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
