"""Calls, and what becomes of them."""

from typing import Literal

from scalewitness.domain.facts.shapes import Body, Commitment, Corrected, Id, Sha256, Word
from scalewitness.domain.observations import (
    Conclusion,
    Harm,
    Holder,
    IdentifiedBy,
    Observation,
    Sex,
    Sureness,
)


class Identification(Body, frozen=True):
    """How the examiner knew which animal this was, and the code read, if any."""

    by: IdentifiedBy
    code: Word | None = None


class Reported(Body, frozen=True):
    """The call was made by someone else and is reported by the sender."""

    role: Literal["veterinarian", "laboratory", "earlier_keeper"]
    who: Id


class CallMade(Body, frozen=True):
    """About an animal. ``told``: the sex the examiner had been told before the check,
    whatever the record lets them see. ``document``: SHA-256 of the report it is taken from,
    which its holders keep and can show to be that one."""

    conclusion: Conclusion
    sureness: Sureness
    observed: Observation
    identified: Identification
    held_by: Holder
    harm: tuple[Harm, ...] = ()
    told: Sex | None = None
    visit: Id | None = None
    reported: Reported | None = None
    document: Sha256 | None = None
    note: Commitment | None = None
    corrected: Corrected | None = None


class CallWithdrawn(Body, frozen=True):
    call: Id
    note: Commitment | None = None


class CallRefiled(Body, frozen=True):
    """About the animal whose transponder was read at a check that was filed on another: the
    check is of this one. By whoever sent it. The call stays where it was made, and counts
    here instead of there."""

    call: Id


class CallObjected(Body, frozen=True):
    call: Id
    ground: Literal["wrong_animal", "wrong_reading", "wrong_method", "not_blind", "other"]
    note: Commitment | None = None


class ReportAnswered(Body, frozen=True):
    """About an animal, by whoever a call on it was reported of: they made it, or did not."""

    call: Id
    answer: Literal["confirmed", "denied"]
    note: Commitment | None = None


class DocumentRead(Body, frozen=True):
    """About an animal: somebody else read the document that a call on it names."""

    call: Id
    document: Sha256


class WitnessStated(Body, frozen=True):
    """About an animal: somebody else saw the eggs, slugs or young that a call on it is about; or
    saw ``young``, one of those that are registered as its own."""

    call: Id
    young: Id | None = None


class WitnessWithdrawn(Body, frozen=True):
    """About an animal: what its sender stated of a call, as one who read its document or saw the
    young, they state no longer."""

    call: Id
    note: Commitment | None = None


class PhotosCompared(Body, frozen=True):
    """About an animal: somebody else laid the photo of a check beside one that was on record
    before it, and says whether they show the same animal or another."""

    call: Id
    photo: Id
    earlier: Id
    answer: Literal["same", "another"]


class LateCallDecided(Body, frozen=True):
    """The host's decision on a call that arrived after its visit had long ended."""

    held: Id
    admitted: bool
    note: Commitment | None = None


BODIES: dict[str, type[Body]] = {
    "call_made": CallMade,
    "call_withdrawn": CallWithdrawn,
    "call_refiled": CallRefiled,
    "call_objected": CallObjected,
    "report_answered": ReportAnswered,
    "document_read": DocumentRead,
    "witness_stated": WitnessStated,
    "witness_withdrawn": WitnessWithdrawn,
    "photos_compared": PhotosCompared,
    "late_call_decided": LateCallDecided,
}
