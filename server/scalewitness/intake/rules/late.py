"""What a guest or a former partner sends late: until when their grant covered the animal, and what
waits for the host."""

from datetime import datetime
from typing import cast
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal, Husbandry
from scalewitness.animals.queries.grants import LATE_LIMIT
from scalewitness.animals.queries.partners import was_ever_granted
from scalewitness.animals.services import husbandry_row
from scalewitness.calls.models import Call, HeldCall
from scalewitness.calls.queries.held import calls_held_with, notes_held_with
from scalewitness.calls.services import hold_call
from scalewitness.domain.errors import NotAllowed, NotFound
from scalewitness.domain.facts import BODIES, HusbandryNoted, Weight
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.known import Subject
from scalewitness.intake.sealing import seal_call
from scalewitness.intake.submission import Sealed
from scalewitness.people.models import Grant


def covered_until(grant: Grant, subject: Subject) -> datetime | None:
    """When the grant stopped covering the animal: closed, ended, or left behind. Nobody's claim
    enters: the first was agreed on beforehand, of the others counts when the record heard."""
    ends = [grant.closes, subject.tie.homes[grant.collection]]
    if hasattr(grant, "end"):
        ends.append(grant.end.at)
    return min((one for one in ends if one is not None), default=None)


def covers(grant: Grant, subject: Subject, at: datetime) -> bool:
    ended = covered_until(grant, subject)
    return grant.opens <= at and (ended is None or at <= ended)


def is_too_late(grant: Grant, subject: Subject, now: datetime) -> bool:
    """Whether what was done under the grant comes so late that the host decides on it."""
    ended = covered_until(grant, subject)
    return ended is not None and now - ended > LATE_LIMIT


def note_of_another(fact: Sealed, batch: Batch) -> int | None:
    """A note of somebody who does not keep the animal, by the grant of the time it was taken at,
    whatever they were given since: as with a call it is accepted up to 14 days later. After that
    it shares the fate of their calls of that time, whichever comes first, and is held until then.
    """
    by = batch.actor.keeper
    granted = by is not None and was_ever_granted(by, fact.about)
    # Of what is not theirs no more is read than of what is not there.
    subject = batch.known.of(fact.about) if granted else None
    sees = batch.known.holdings.seen(fact.about) is not None
    grant = _granted(fact, subject, sees=sees) if subject else None
    if subject is None or grant is None:
        raise NotFound()
    body = cast(HusbandryNoted, fact.body)
    if grant.role != Grant.Role.PARTNER and not isinstance(body.noted, Weight):
        raise NotAllowed("A guest may note a weight only.")
    if grant.role != Grant.Role.VIEWER and is_too_late(grant, subject, batch.now):
        if not _was_taken_with_a_call(fact, grant, batch):
            hold(fact, subject.animal, grant.pk, batch)
            return None
        fact = msgspec.structs.replace(fact, flags=(*fact.flags, "late"), draft=None)
    return _keep_note(fact, batch, batch.actor)


def _granted(fact: Sealed, subject: Subject, *, sees: bool) -> Grant | None:
    """The last grant under which they could note it; one to look only where there is no other,
    and they still see the animal."""
    covering = [one for one in subject.tie.grants if covers(one, subject, fact.at)]
    able = [one for one in covering if one.role != Grant.Role.VIEWER]
    found = able or (covering if sees else [])
    return found[-1] if found else None


def _was_taken_with_a_call(fact: Sealed, grant: Grant, batch: Batch) -> bool:
    """Whether a call of theirs under the grant is on record; it may still have to be decided on.

    Raises:
        NotAllowed: each was, and none was admitted.
    """
    by = cast(UUID, batch.actor.by)
    visit = grant.pk if grant.role == Grant.Role.GUEST else None
    if visit and Call.objects.filter(animal=fact.about, by=by, visit=visit).exists():
        return True
    decisions = [one.decision_made for one in calls_held_with(by, fact.about, grant.pk)]
    if True in decisions:
        return True
    if decisions and None not in decisions:
        raise NotAllowed("Its keeper did not admit the check that it was taken with.")
    return False


def hold(fact: Sealed, animal: Animal, grant: UUID | None, batch: Batch) -> None:
    """Keep it whole, for the host to decide on. A call enters the log under seal; what goes with
    one does not, as an entry each would count the photos, and eggs are what is photographed."""
    batch.store()
    held = hold_call(
        submission={
            "id": str(fact.id),
            "at": fact.at.isoformat(),
            "body": fact.logged_body(),
            "flags": list(fact.flags),
            "sig": fact.sig,
        },
        by=cast(UUID, batch.actor.by),
        device=batch.actor.device,
        animal=animal.pk,
        collection=animal.collection_id,
        received_at=batch.now,
        kind=fact.kind,
        grant=grant,
    )
    if fact.kind == "call_made":
        seal_call(held, batch)
    batch.keep_texts(fact)


def admit_notes(call: HeldCall, batch: Batch) -> None:
    """What was taken with an admitted call enters before it, which is judged by the weight."""
    for held in notes_held_with(call):
        _keep_note(released(held), batch, sender_of(held))
    batch.store()


def admit_note(held: HeldCall, batch: Batch) -> None:
    _keep_note(released(held), batch, sender_of(held))
    batch.store()


def _keep_note(fact: Sealed, batch: Batch, sender: Actor) -> int:
    logged = batch.log(fact, sender=sender)
    batch.keep(Husbandry, husbandry_row(logged))
    return logged.position


def sender_of(held: HeldCall) -> Actor:
    return Actor(keeper=held.by, device=held.device)


def released(held: HeldCall) -> Sealed:
    """What was held as it was sealed; its texts were kept, and its signature was checked, when it
    came in."""
    kept = held.submission
    return Sealed(
        id=held.pk,
        kind=held.kind,
        at=datetime.fromisoformat(kept["at"]),
        about=held.animal_id,
        body=msgspec.convert(kept["body"], BODIES[held.kind]),
        texts={},
        flags=(*kept["flags"], "late"),
        sig=kept.get("sig"),
    )
