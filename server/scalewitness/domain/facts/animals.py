"""Animals, what is noted of them, and pairings."""

from typing import Annotated, Literal

from msgspec import Meta

from scalewitness.domain.facts.shapes import (
    Body,
    Commitment,
    Corrected,
    Day,
    Grams,
    Id,
    Sha256,
    Share,
    Word,
)
from scalewitness.domain.observations import ShedStage
from scalewitness.domain.pictures.plain import LARGEST_BYTES


class Particulars(Body, frozen=True):
    """What an animal is said to be; sex is never among it."""

    species: Word
    hatched: Day | None = None
    sire: Id | None = None
    dam: Id | None = None
    traits: tuple[Word, ...] = ()


class AnimalRegistered(Particulars, frozen=True, kw_only=True):
    collection: Id


class ParticularsCorrected(Particulars, frozen=True):
    """Replaces all particulars; the earlier ones stay in the log."""

    note: Commitment | None = None


class IdentifierAssigned(Body, frozen=True):
    scheme: Literal["transponder", "tag", "scale_photo"]
    code: Word


class IdentifierWithdrawn(Body, frozen=True):
    """About an animal: this code is not its own, as was stated by mistake."""

    scheme: Literal["transponder", "tag", "scale_photo"]
    code: Word
    note: Commitment | None = None


class JoiningProposed(Body, frozen=True):
    """About an animal: another record that bears this transponder's number too is of this snake.
    Which record that is, the log does not say before its keeper agrees."""

    code: Word
    note: Commitment | None = None


class PartingProposed(Body, frozen=True):
    """About an animal: it is not the snake that it was joined with by that proposal."""

    joining: Id
    note: Commitment | None = None


class JoiningAnswered(Body, frozen=True):
    """About the other animal: whether its keeper agrees to a proposal, to join or to part. Or an
    arbiter agrees, by their ``finding`` in a dispute about either."""

    proposal: Id
    agrees: bool
    finding: Id | None = None


class Weight(Body, frozen=True, tag_field="type", tag="weight"):
    grams: Grams


class Meal(Body, frozen=True, tag_field="type", tag="meal"):
    taken: bool
    grams: Grams | None = None


class Shed(Body, frozen=True, tag_field="type", tag="shed"):
    stage: ShedStage


class Health(Body, frozen=True, tag_field="type", tag="health"):
    sign: Literal["well", "gravid", "ill", "injured", "under_treatment", "other"]


class PlainRemark(Body, frozen=True, tag_field="type", tag="remark"):
    """What has no form of its own: all it says is the text of its ``note``, which it must have."""


class HusbandryNoted(Body, frozen=True):
    noted: Weight | Meal | Shed | Health | PlainRemark
    note: Commitment | None = None
    corrected: Corrected | None = None


class PhotoAttached(Body, frozen=True):
    """About an animal. ``of``: the sender's call that it shows, else it shows the animal.
    ``sha256`` is of the file, a JPEG of ``size`` bytes that may arrive later and can be
    erased."""

    sha256: Sha256
    size: Annotated[int, Meta(ge=1, le=LARGEST_BYTES)]
    of: Id | None = None
    corrected: Corrected | None = None


class CustodyChanged(Body, frozen=True):
    """The animal moves to another collection (its keeper must hold or accept it)."""

    to: Id
    why: Literal["sold", "loaned", "returned", "given", "moved"]
    sale: Id | None = None


class AnimalEnded(Body, frozen=True):
    """The animal's keeper has it no longer. It leaves lists and plans, never the record."""

    why: Literal["died", "lost", "stolen"]
    note: Commitment | None = None
    corrected: Corrected | None = None


class EndCorrected(Body, frozen=True):
    """About an animal that was said to have died, or to be lost or stolen: it was found again,
    or that was said by mistake."""

    why: Literal["found", "mistake"]
    note: Commitment | None = None
    corrected: Corrected | None = None


class RegisteredInError(Body, frozen=True):
    """About an animal of which nothing else was stated: there is none, or it is registered twice.
    It leaves everything but the log, for good; its codes are free again."""

    note: Commitment | None = None


class LinkageStated(Body, frozen=True, kw_only=True):
    """What the animal's keeper says of a trait inherited together with sex: how many copies
    its parents have, what it shows itself, and ``beside`` which sex chromosome the one copy
    of the parent with two kinds lies (the linkage phase; None when not known).
    ``recombination`` is the fraction, 0 to 0.5, with where it is from. The latest statement
    counts, while the particulars name these parents."""

    trait: Word
    shows: Literal["nothing", "one_copy", "two_copies", "some_copies"]
    sire: Id
    dam: Id
    sire_copies: Literal[0, 1, 2]
    dam_copies: Literal[0, 1, 2]
    beside: Literal["X", "Y", "Z", "W"] | None = None
    recombination: Share
    provenance: Literal["keepers_speak_of", "own_clutches", "study"]
    note: Commitment | None = None


PlanChange = Literal["fell", "reversed", "restored", "turned", "eased", "withdrawn"]
"""Of the sex that a pairing was planned on: it is verified no more; the other one is; it is
verified again; the record speaks for the other without verifying it; it does so no more. Of a
claim of a trait: it fell; it stands again; whoever stated it took it back."""


SeasonYear = Annotated[int, Meta(ge=2000, le=2100)]


class PairingPlanned(Body, frozen=True):
    """About a pairing: these two are to be put together. ``season``: the year in which the
    young are expected to hatch."""

    sire: Id
    dam: Id
    season: SeasonYear


class PairingDropped(Body, frozen=True):
    pass


class PairingAgreed(Body, frozen=True):
    """About a pairing: whoever keeps one of the two agrees to it. It counts for as long as they
    keep that animal, or are a partner in its collection."""


class PlanAffected(Body, frozen=True):
    """About a collection: what its pairings of a ``season`` rest on changed, of this animal of
    theirs or of a mate: its sex, or a trait that was claimed of it by the statement ``claim``.
    ``cause`` is the fact that brought it about."""

    season: SeasonYear
    animal: Id
    cause: Id
    change: PlanChange
    pairings: tuple[Id, ...]
    claim: Id | None = None


BODIES: dict[str, type[Body]] = {
    "animal_registered": AnimalRegistered,
    "particulars_corrected": ParticularsCorrected,
    "identifier_assigned": IdentifierAssigned,
    "identifier_withdrawn": IdentifierWithdrawn,
    "joining_proposed": JoiningProposed,
    "parting_proposed": PartingProposed,
    "joining_answered": JoiningAnswered,
    "husbandry_noted": HusbandryNoted,
    "photo_attached": PhotoAttached,
    "custody_changed": CustodyChanged,
    "animal_ended": AnimalEnded,
    "end_corrected": EndCorrected,
    "registered_in_error": RegisteredInError,
    "linkage_stated": LinkageStated,
    "pairing_planned": PairingPlanned,
    "pairing_dropped": PairingDropped,
    "pairing_agreed": PairingAgreed,
    "plan_affected": PlanAffected,
}
