"""Calls: made, withdrawn, objected to, and decided on when they came late."""

from dataclasses import replace
from typing import cast
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import is_steward
from scalewitness.calls import services
from scalewitness.calls.models import Call
from scalewitness.calls.queries.held import to_decide
from scalewitness.calls.queries.made import call_of
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.domain.errors import (
    NotAllowed,
    NotFound,
    NotNow,
    OutOfRange,
    UnusualDepth,
    WrongShape,
)
from scalewitness.domain.facts import (
    CallMade,
    CallObjected,
    CallWithdrawn,
    Circumstance,
    LateCallDecided,
)
from scalewitness.domain.observations import Endoscopy, Hearsay, method_of
from scalewitness.domain.sexing.evidence import as_sent
from scalewitness.domain.sexing.so_far import as_evidence, identity_by
from scalewitness.domain.sexing.taxa import deepest_in_words, life_stage, taxon, unusual_pass
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.known import Known, Subject
from scalewitness.intake.newcomers import answers, contradicts, waits
from scalewitness.intake.one_person import one_with
from scalewitness.intake.rules.late import (
    admit_note,
    admit_notes,
    covers,
    hold,
    is_too_late,
    released,
    sender_of,
)
from scalewitness.intake.rules.photos import admit_photos
from scalewitness.intake.sealing import require_as_sealed
from scalewitness.intake.submission import Sealed
from scalewitness.intake.ties import Tie
from scalewitness.ledger.queries.entries import heard_after
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.late import notify_of_decision
from scalewitness.people.models import Grant, Practitioner


def call_made(fact: Sealed, batch: Batch) -> int | None:
    subject = batch.known.of(fact.about)
    if subject is None:
        raise NotFound()
    body = cast(CallMade, fact.body)
    _check_reported(body, batch)
    guest = _as_guest(fact, subject, batch.known)
    keeps = subject.tie.steward and guest is None
    as_sender = replace(subject, tie=guest) if guest else subject
    late = None if keeps else _grant_it_outlived(fact, body, as_sender, batch)
    if keeps and body.visit is not None:
        raise WrongShape("You keep this animal; there is no visit.", pointer="/body/visit")
    _check_observed(body, subject.animal)  # only now: a stranger learns nothing of the animal
    if late is not None:
        hold(fact, subject.animal, late.pk, batch)
        return None
    return _store(fact, batch.known, batch, batch.actor).position


def _as_guest(fact: Sealed, subject: Subject, known: Known) -> Tie | None:
    """What tied a partner to the animal on the visit that their call is under. A grant needs
    nobody's acceptance: one that the record heard of after the check is no interest in it, and
    loses it not. Blind it is not: a partner may read the record, then claim an earlier time."""
    visit, person = cast(CallMade, fact.body).visit, known.person
    if visit is None or person is None or not subject.tie.steward:
        return None
    if person == subject.animal.collection.keeper_id:
        return None
    tie = known.by_grants(person, subject.animal)
    if not any(str(one.pk) == visit for one in tie.grants):
        return None
    given = {one.position for one in tie.grants if one.role == Grant.Role.PARTNER}
    return replace(tie, steward=bool(given - heard_after(given, fact.at)))


def _store(fact: Sealed, known: Known, batch: Batch, sender: Actor) -> Logged[CallMade]:
    """``known``: to the sender."""
    subject = known.of(fact.about)
    if subject is None:
        raise NotFound()
    circumstance = _circumstance(fact, subject, known)
    logged = batch.log(fact, sender=sender)
    batch.keep(Call, services.call_row(logged, circumstance, fact.flags))
    evidence = as_evidence(
        logged.body,
        circumstance,
        sender=str(logged.sender),
        at=logged.at,
        position=logged.position,
    )
    if circumstance.waits:
        subject.tie.called = True  # a second look is no blind one
    else:
        subject.add(evidence)
    contrary = contradicts(subject, evidence.conclusion) and answers(evidence.report)
    answered = contrary and not circumstance.waits
    batch.touch(fact.about, fact.id, fact.kind, circumstance, answered=answered)
    return logged


def _check_reported(body: CallMade, batch: Batch) -> None:
    """A reported call names someone the sender has named to the record beforehand."""
    if body.reported is None:
        return
    if isinstance(body.observed, Hearsay):
        raise WrongShape("A statement has its own source.", pointer="/body/reported")
    known = Practitioner.objects.filter(pk=body.reported.who, named_by=batch.actor.keeper)
    if not known.exists():
        raise OutOfRange("Name them first.", pointer="/body/reported/who")


def _check_observed(body: CallMade, animal: Animal) -> None:
    """What must be said twice, or of another animal: only what died is dissected, and depths that
    no source gives are mostly miscounted."""
    seen = body.observed
    deep = unusual_pass(animal.species, seen)
    if deep is not None:
        raise UnusualDepth(
            f"{deepest_in_words(animal.species)} Count again from the vent; if it did go that "
            "deep, say so, and it is taken.",
            pointer=f"/body/observed/passes/{deep}/depth",
        )
    if isinstance(seen, Endoscopy) and seen.post_mortem and animal.ended != "died":
        raise OutOfRange(
            "A dissection is of an animal that died, and its keeper does not say so of this one. "
            "They state that first.",
            pointer="/body/observed/post_mortem",
        )


def _grant_it_outlived(
    fact: Sealed, body: CallMade, subject: Subject, batch: Batch
) -> Grant | None:
    """The grant of a guest's call that must wait for the host, None of one that need not; refuses
    what no visit covers.

    Examined inside the visit and sent up to 14 days after it ended: accepted. Later:
    held. The claimed time is the guest's own, so the log keeps the received time too.
    """
    grant = _grant_for(fact, body, subject)
    if not covers(grant, subject, fact.at):
        raise NotFound()
    return grant if is_too_late(grant, subject, batch.now) else None


def _grant_for(fact: Sealed, body: CallMade, subject: Subject) -> Grant:
    """The visit the call names, or a partnership of the time; also in a collection that the
    animal has left since."""
    grants = subject.tie.grants
    if not grants:
        raise NotFound()
    fitting = [grant for grant in grants if _fits(grant, fact, body, subject)]
    if fitting:
        return fitting[-1]
    if not any(grant.role == Grant.Role.GUEST for grant in grants):
        raise NotAllowed("You may see this animal, not examine it; ask for a visit.")
    if body.visit is None:
        raise WrongShape("Say on which visit.", pointer="/body/visit")
    raise NotFound()


def _fits(grant: Grant, fact: Sealed, body: CallMade, subject: Subject) -> bool:
    if grant.role == Grant.Role.GUEST:
        return str(grant.pk) == body.visit
    partner = grant.role == Grant.Role.PARTNER and body.visit is None
    return partner and covers(grant, subject, fact.at)


def _circumstance(fact: Sealed, subject: Subject, known: Known) -> Circumstance:
    """What the record knows of the call as it takes it; logged with the standing."""
    body, animal = cast(CallMade, fact.body), subject.animal
    tie = _as_guest(fact, subject, known) or subject.tie
    grams = known.weight_on(fact.about, fact.at)
    reported = body.reported is not None
    word = as_sent(method_of(body.observed), reported=reported, interested=tie.interested)
    blind = (
        not reported
        and not tie.interested
        and body.told is None
        and not isinstance(body.observed, Hearsay)
        and tie.blind_on(fact.at)
    )
    # A reported vet or laboratory did not read this record; what they were told counts.
    knew = None if blind or reported else subject.expected()
    return Circumstance(
        call=str(fact.id),
        stage=life_stage(taxon(animal.species), animal.hatched, fact.at.date(), grams),
        blind=blind,
        interested=tie.interested,
        identity=identity_by(body.identified, subject.codes),
        anchored_to=body.told or knew,
        footing=known.footing,
        waits=waits(subject, body.conclusion, known, word),
        one_with=None if reported else one_with(fact.id, animal, known),
    )


def call_withdrawn(fact: Sealed, batch: Batch) -> int:
    """Whoever sent a call may take it back, also after the visit: it corrects the record."""
    body = cast(CallWithdrawn, fact.body)
    call = _call_on(body.call, fact.about)
    if call.by != batch.actor.keeper:
        raise NotFound()
    if hasattr(call, "withdrawal"):
        raise NotNow("This call has already been withdrawn.")
    if hasattr(call, "refiled"):
        raise NotNow("This call counts on another animal; withdraw it there.")
    logged = batch.log(fact)
    services.store_withdrawal(logged)
    batch.touch(call.animal_id, fact.id, fact.kind)
    return logged.position


def call_objected(fact: Sealed, batch: Batch) -> int:
    body = cast(CallObjected, fact.body)
    if batch.actor.keeper is None:
        raise NotFound()
    animal_open(batch.actor.keeper, fact.about, batch.now)
    call = _call_on(body.call, fact.about)
    if call.by == batch.actor.keeper:
        raise NotAllowed("Withdraw your own call instead.")
    logged = batch.log(fact)
    services.store_objection(logged)
    return logged.position


def _call_on(call_id: str, animal: UUID) -> Call:
    call = call_of(UUID(call_id))
    if call is None or call.animal_id != animal:
        raise NotFound()
    return call


def late_call_decided(fact: Sealed, batch: Batch) -> int:
    """The host admits a held call, or a note whose call never came, which then enters the log as
    its sender's, or not: without knowing what it says, which nobody else is shown before."""
    body = cast(LateCallDecided, fact.body)
    held = to_decide(UUID(body.held), batch.now)
    if held is None or held.animal_id != fact.about:
        raise NotFound()
    if not is_steward(batch.actor.keeper, held.animal.collection, batch.now):
        raise NotFound()
    if hasattr(held, "decision"):
        raise NotNow("This has already been decided on.")
    if body.admitted:
        require_as_sealed(held)
    logged = batch.log(fact)
    services.store_decision(logged)
    if body.admitted and held.kind != "call_made":
        admit_note(held, batch)
    elif body.admitted:
        admit_notes(held, batch)
        admit_photos(held, batch)
        known = Known(held.by, batch.now, came=held.received_at)
        _store(released(held), known, batch, sender_of(held))
    notify_of_decision(held, logged, batch.letters)
    return logged.position
