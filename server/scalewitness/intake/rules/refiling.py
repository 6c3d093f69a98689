"""A check filed under the wrong animal: the transponder read at it is another's.

Only the code tells which animal it was, and only an animal that the examiner might have checked
there and then. Of any other they are told nothing, not even that the record knows its code.
"""

from dataclasses import replace
from datetime import datetime
from typing import cast
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal, Identifier
from scalewitness.calls import services
from scalewitness.calls.models import Call
from scalewitness.calls.queries.made import call_of
from scalewitness.domain.errors import NotFound, NotNow
from scalewitness.domain.facts import CallMade, CallRefiled, Circumstance
from scalewitness.domain.identifiers import parse_transponder, plain_code
from scalewitness.domain.observations import Conclusion, Sex
from scalewitness.domain.sexing.evidence import Report, as_sent
from scalewitness.domain.sexing.taxa import life_stage, taxon
from scalewitness.intake.batch import Batch
from scalewitness.intake.known import Known, Subject
from scalewitness.intake.newcomers import answers, contradicts, waits
from scalewitness.intake.one_person import one_with
from scalewitness.intake.rules.late import covers, is_too_late
from scalewitness.intake.submission import Sealed

MOST_BEARERS = 20
"""Animals that bear one code and are looked at, the earliest first (our judgement: one is right,
and nobody is to slow others down by giving a code to thousands)."""


def call_refiled(fact: Sealed, batch: Batch) -> int:
    """By whoever sent the call, also after the visit, as long as a call would be taken."""
    body = cast(CallRefiled, fact.body)
    call = call_of(UUID(body.call))
    if call is None or call.by != batch.actor.keeper:
        raise NotFound()
    if call.over:
        raise NotNow("This call no longer counts where it was made.")
    bearer = _bearer(call, batch.known, batch.now)
    if bearer is None or bearer.animal.pk != fact.about:
        raise NotFound()
    known = _circumstance(fact.id, call, bearer, batch.known)
    logged = batch.log(fact)
    services.store_refiled(logged, call, known)
    contrary = contradicts(bearer, cast("Conclusion", call.conclusion)) and not known.waits
    answered = contrary and answers(_word_of(call, interested=known.interested))
    batch.touch(fact.about, fact.id, fact.kind, known, answered=answered)
    batch.touch(call.animal_id, fact.id, fact.kind)
    return logged.position


def _word_of(call: Call, *, interested: bool) -> Report:
    return as_sent(call.method, reported=call.role != "keeper", interested=interested)


def bearer_of(call: Call, now: datetime) -> Animal | None:
    """The animal that the check was of, as far as its sender may learn of it; None where the
    call counts where it is, or is over."""
    found = None if call.over else _bearer(call, Known(call.by, now), now)
    return found.animal if found else None


def _bearer(call: Call, known: Known, now: datetime) -> Subject | None:
    """The one animal to bear the code before the check came in, so that nobody moves a check by
    giving a code afterwards."""
    code = _code_of_another(call)
    if code is None:
        return None
    bearing = Identifier.objects.filter(scheme="transponder", code=code)
    earlier = bearing.filter(position__lt=call.position).order_by("position")
    bearers = list(dict.fromkeys(earlier.values_list("animal", flat=True)))[:MOST_BEARERS]
    subjects = [subject for one in bearers if (subject := known.of(one)) is not None]
    found = [one for one in subjects if _might_have_checked(call, one, now)]
    own = bearing.filter(animal=call.animal_id).exists()
    return found[0] if len(found) == 1 and not own else None


def _code_of_another(call: Call) -> str | None:
    """The transponder that was read, if it was not this animal's and names one animal alone."""
    read = msgspec.convert(call.body, CallMade).identified
    if call.identity != "mismatch" or read.by != "transponder" or read.code is None:
        return None
    return None if parse_transponder(read.code).is_test else plain_code(read.by, read.code)


def _might_have_checked(call: Call, subject: Subject, now: datetime) -> bool:
    """Whether the sender could have made the call on this animal, and not too late by now."""
    if subject.tie.steward:
        return True
    return any(
        grant.role != grant.Role.VIEWER
        and covers(grant, subject, call.examined_at)
        and not is_too_late(grant, subject, now)
        for grant in subject.tie.grants
    )


def _circumstance(fact: UUID, call: Call, bearer: Subject, known: Known) -> Circumstance:
    """Of the check as one of this animal. It is blind only if its examiner was blind to the one
    they took it for, and had by then been told nothing of this one either."""
    animal, tie = bearer.animal, bearer.tie
    before = Call.objects.filter(animal=animal, by=call.by, position__lt=call.position).exists()
    grants = [grant for grant in tie.grants if grant.position < call.position]
    blind = call.blind and replace(tie, called=before, grants=grants).blind_on(call.examined_at)
    knew = None if blind or call.role != "keeper" else bearer.expected()
    grams = known.weight_on(animal.pk, call.examined_at)
    word = _word_of(call, interested=tie.interested)
    kind = taxon(animal.species)
    return Circumstance(
        call=str(fact),
        stage=life_stage(kind, animal.hatched, call.examined_at.date(), grams),
        blind=blind,
        interested=tie.interested,
        identity="confirmed",
        anchored_to=cast("Sex | None", call.anchored_to) or knew,
        footing=known.footing,
        waits=waits(bearer, cast("Conclusion", call.conclusion), known, word),
        one_with=None if call.role != "keeper" else one_with(fact, animal, known),
    )
