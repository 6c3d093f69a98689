"""Every fact's typed body: the single schema for REST, push, import and the log.

A fact is ``{id, kind, at, about, body}``; ``kind`` picks the body's type here. Bodies
hold ids and closed words only. Free text never enters: it travels beside the fact and
leaves a salted commitment (64 hex digits) in its place, so that it can be erased by law
without breaking a proof. Fields at their default are left out of the canonical form, so
a field added later never changes the bytes of an older fact.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from scalewitness.domain.observations import (
    Conclusion,
    Harm,
    LifeStage,
    Method,
    Observation,
    Sex,
    Sureness,
)
from scalewitness.domain.pictures.plain import LARGEST_BYTES

Id = Annotated[
    str,
    Meta(
        pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$",
        max_length=36,  # “$” alone would let a line feed follow
    ),
]
Commitment = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
PublicKey = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
Sha256 = Annotated[str, Meta(pattern=r"^[0-9a-f]{64}$")]
Signature = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9+/]{85}[AQgw]==$",
        max_length=88,
        description="The sending device's Ed25519 signature, base64, over the canonical JSON "
        "(RFC 8785) of the log's entry with `sig` null.",
    ),
]
"""64 bytes in the one base64 spelling they have."""
Day = Annotated[str, Meta(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")]
Moment = Annotated[
    str, Meta(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$")
]
Grams = Annotated[str, Meta(pattern=r"^(0|[1-9][0-9]{0,5})(\.[0-9])?$")]
Share = Annotated[str, Meta(pattern=r"^[01]\.[0-9]{6}$")]
Word = Annotated[str, Meta(min_length=1, max_length=60)]
Position = Annotated[int, Meta(ge=0, le=2**53 - 1)]  # what canonical JSON can hold
KeyText = Annotated[str, Meta(min_length=1, max_length=400)]
"""A verifier key, ``name+ID+base64`` (C2SP signed-note)."""
NoteText = Annotated[str, Meta(min_length=1, max_length=2000)]
"""A checkpoint with the one signature of its log (C2SP tlog-checkpoint)."""
Label = Literal[
    "unsexed",
    "probable male",
    "probable female",
    "verified male",
    "verified female",
    "contested",
]


Seconds = Annotated[str, Meta(pattern=r"^-?[1-9][0-9]{0,9}$", max_length=11)]
"""A whole number of seconds, never none."""


class Body(Struct, frozen=True, forbid_unknown_fields=True, omit_defaults=True, kw_only=True):
    """Base of all bodies."""


class Corrected(Body, frozen=True):
    """The fact's own ``at`` is not what the device's clock said, but corrected: it is ``read``,
    what the clock said, plus ``offset``, the record's clock minus the device's, which was
    measured when the record's clock said ``measured_at``."""

    read: Moment
    offset: Seconds
    measured_at: Moment


# --- people ---------------------------------------------------------------------------


class GrantGiven(Body, frozen=True):
    """About a collection. ``animals`` None: all of it, now and later."""

    to: Id
    role: Literal["partner", "viewer"]
    animals: tuple[Id, ...] | None = None
    until: Moment | None = None


class GrantRevoked(Body, frozen=True):
    grant: Id


class DeviceKeyEnrolled(Body, frozen=True):
    """About the keeper, by that very device, and signed with the key it names: whoever reads
    the log can check the device's signatures from here on. ``key``: Ed25519, 32 bytes."""

    device: Id
    key: PublicKey


class DeviceRevoked(Body, frozen=True):
    """About the keeper. What the device signed before stays signed; nothing new is taken."""

    device: Id


# --- animals --------------------------------------------------------------------------


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


class Weight(Body, frozen=True, tag_field="type", tag="weight"):
    grams: Grams


class Meal(Body, frozen=True, tag_field="type", tag="meal"):
    taken: bool
    grams: Grams | None = None


class Shed(Body, frozen=True, tag_field="type", tag="shed"):
    stage: Literal["opaque", "clear", "shed"]


class Health(Body, frozen=True, tag_field="type", tag="health"):
    sign: Literal["well", "gravid", "ill", "injured", "under_treatment", "other"]


class HusbandryNoted(Body, frozen=True):
    noted: Weight | Meal | Shed | Health
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


# --- visits ---------------------------------------------------------------------------


class VisitInvited(Body, frozen=True):
    collection: Id
    guest: Id
    animals: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=200)]
    opens: Moment
    closes: Moment
    blind: bool = True


class VisitAccepted(Body, frozen=True):
    pass


class VisitDeclined(Body, frozen=True):
    pass


class VisitCancelled(Body, frozen=True):
    pass


# --- calls ----------------------------------------------------------------------------


class Identification(Body, frozen=True):
    """How the examiner knew which animal this was, and the code read, if any."""

    by: Literal["transponder", "tag", "scale_photo", "keeper_said", "appearance"]
    code: Word | None = None


class Reported(Body, frozen=True):
    """The call was made by someone else and is reported by the sender."""

    role: Literal["veterinarian", "laboratory", "earlier_keeper"]
    who: Id


class CallMade(Body, frozen=True):
    """About an animal. ``told``: the sex the examiner had been told before the check,
    whatever the record lets them see."""

    conclusion: Conclusion
    sureness: Sureness
    observed: Observation
    identified: Identification
    held_by: Literal["examiner", "keeper", "second_person", "sedated", "not_held"]
    harm: tuple[Harm, ...] = ()
    told: Sex | None = None
    visit: Id | None = None
    reported: Reported | None = None
    note: Commitment | None = None
    corrected: Corrected | None = None


class CallWithdrawn(Body, frozen=True):
    call: Id
    note: Commitment | None = None


class CallObjected(Body, frozen=True):
    call: Id
    ground: Literal["wrong_animal", "wrong_reading", "wrong_method", "not_blind", "other"]
    note: Commitment | None = None


class LateCallDecided(Body, frozen=True):
    """The host's decision on a call that arrived after its visit had long ended."""

    held: Id
    admitted: bool
    note: Commitment | None = None


class Circumstance(Body, frozen=True):
    """What the record knew of a call when it was accepted; the weights rest on it.

    ``interested`` is about whoever sent the call: they kept the animal, shared in it, sold or
    bought it. A reported call is another's, at second hand, and never ``blind``: of what its
    examiner knew the record has only what the sender says they were told (``anchored_to``).
    """

    call: Id
    stage: LifeStage
    blind: bool
    interested: bool
    identity: Literal["confirmed", "unconfirmed", "mismatch"]
    anchored_to: Sex | None = None


class StandingChanged(Body, frozen=True):
    """What the record, taken whole up to this position, says of the animal's sex."""

    label: Label
    p_male: Share
    p_male_pessimistic: Share
    parameters: Word
    policy: Word
    examiner_records: Word
    admitted: tuple[Circumstance, ...] = ()


class PolicyAdopted(Body, frozen=True):
    """A new version of the labelling policy; numbers as decimal strings."""

    version: Word
    parameters: Word
    thresholds: dict[Word, Share]


class OriginSucceeded(Body, frozen=True):
    """The log lost what others have seen of it, and goes on as another, right after this many
    entries ``kept``. The origin that ``old_key`` signed for is closed, its last note known is
    ``checkpoint``, which has ``missing`` entries more than were kept. ``statement``: by whose
    word, and what is known to have happened."""

    old_key: KeyText
    new_key: KeyText
    checkpoint: NoteText
    kept: Position
    missing: Position
    statement: Commitment


class SettledCounts(Body, frozen=True):
    """Blind calls of one method on animals of one sex that others' evidence settled."""

    method: Method
    sex: Sex
    wrong: Annotated[int, Meta(ge=0)]
    right: Annotated[int, Meta(ge=0)]


class ExaminerRecordChanged(Body, frozen=True):
    """About an examiner: all settled counts, as standings weigh them from here on."""

    role: Literal["keeper", "veterinarian", "laboratory", "earlier_keeper"]
    counts: tuple[SettledCounts, ...]


# --- breeding ------------------------------------------------------------------------


class PairingPlanned(Body, frozen=True):
    """About a pairing: these two are to be put together. ``season``: the year in which the
    young are expected to hatch."""

    sire: Id
    dam: Id
    season: Annotated[int, Meta(ge=2000, le=2100)]


class PairingDropped(Body, frozen=True):
    pass


# --- sales ----------------------------------------------------------------------------


class Representation(Body, frozen=True):
    """One animal's standing as the seller offers on it."""

    animal: Id
    label: Label
    p_male: Share
    p_male_pessimistic: Share
    position: Position


class OfferMade(Body, frozen=True):
    """About a sale. The agreed remedy if the sex proves wrong is part of the offer."""

    collection: Id
    buyer: Id
    represents: Annotated[tuple[Representation, ...], Meta(min_length=1, max_length=50)]
    recheck_days: Annotated[int, Meta(ge=0, le=365)]
    remedy: Literal["refund", "exchange", "refund_or_exchange", "to_be_agreed", "none"]
    expires: Moment
    note: Commitment | None = None


class OfferWithdrawn(Body, frozen=True):
    note: Commitment | None = None


class OfferDeclined(Body, frozen=True):
    note: Commitment | None = None


class OfferLapsed(Body, frozen=True):
    pass


class SaleConfirmed(Body, frozen=True):
    """The buyer confirms what they were shown: the offer and the log position."""

    offer: Id
    seen: Position
    statement: Commitment | None = None


class CheckRequested(Body, frozen=True):
    note: Commitment | None = None


class SaleHeld(Body, frozen=True):
    reason: Literal["standing_fell", "standing_reversed", "standing_changed", "dispute"]
    animal: Id
    cause: Id


class PaymentRecorded(Body, frozen=True):
    note: Commitment | None = None


class HandedOver(Body, frozen=True):
    pass


class SaleClosed(Body, frozen=True):
    pass


# --- disclosures and disputes ---------------------------------------------------------


class DisclosureOwed(Body, frozen=True):
    """Notice owed to someone who relied on a verified sex: both versions, side by side."""

    sale: Id
    animal: Id
    to: Id
    cause: Id
    change: Literal["fell", "reversed", "restored"]
    was: Representation
    now: Representation


class DisclosureAcknowledged(Body, frozen=True):
    pass


class DisputeOpened(Body, frozen=True):
    animal: Id
    ground: Literal["contested_standing", "party_objects"]
    cause: Id | None = None
    sale: Id | None = None
    note: Commitment | None = None


class StatementMade(Body, frozen=True):
    """About a dispute: what a party has to say of it, in their own words."""

    statement: Commitment


class FindingRecorded(Body, frozen=True):
    """The outcome of a dispute. A call set aside stays visible; it no longer counts. ``basis``:
    on whose word it rests; ``document``: SHA-256 of a written report, which its holders keep
    and can show to be that one."""

    outcome: Literal["call_set_aside", "calls_stand", "wrong_animal", "unresolved"]
    set_aside: tuple[Id, ...] = ()
    remedy: Literal["none", "refund", "exchange", "recheck", "other"] = "none"
    reasons: Commitment | None = None
    basis: Literal["agreement", "arbiter", "veterinarian"] | None = None
    document: Sha256 | None = None


BODIES: dict[str, type[Body]] = {
    "grant_given": GrantGiven,
    "grant_revoked": GrantRevoked,
    "device_key_enrolled": DeviceKeyEnrolled,
    "device_revoked": DeviceRevoked,
    "animal_registered": AnimalRegistered,
    "particulars_corrected": ParticularsCorrected,
    "identifier_assigned": IdentifierAssigned,
    "husbandry_noted": HusbandryNoted,
    "photo_attached": PhotoAttached,
    "custody_changed": CustodyChanged,
    "linkage_stated": LinkageStated,
    "visit_invited": VisitInvited,
    "visit_accepted": VisitAccepted,
    "visit_declined": VisitDeclined,
    "visit_cancelled": VisitCancelled,
    "call_made": CallMade,
    "call_withdrawn": CallWithdrawn,
    "call_objected": CallObjected,
    "late_call_decided": LateCallDecided,
    "standing_changed": StandingChanged,
    "policy_adopted": PolicyAdopted,
    "origin_succeeded": OriginSucceeded,
    "examiner_record_changed": ExaminerRecordChanged,
    "pairing_planned": PairingPlanned,
    "pairing_dropped": PairingDropped,
    "offer_made": OfferMade,
    "offer_withdrawn": OfferWithdrawn,
    "offer_declined": OfferDeclined,
    "offer_lapsed": OfferLapsed,
    "sale_confirmed": SaleConfirmed,
    "check_requested": CheckRequested,
    "sale_held": SaleHeld,
    "payment_recorded": PaymentRecorded,
    "handed_over": HandedOver,
    "sale_closed": SaleClosed,
    "disclosure_owed": DisclosureOwed,
    "disclosure_acknowledged": DisclosureAcknowledged,
    "dispute_opened": DisputeOpened,
    "statement_made": StatementMade,
    "finding_recorded": FindingRecorded,
}

SYSTEM_KINDS = frozenset(
    {
        "standing_changed",
        "policy_adopted",
        "origin_succeeded",
        "examiner_record_changed",
        "offer_lapsed",
        "sale_held",
        "disclosure_owed",
    }
)
"""Facts only the record itself states, as a consequence; nobody may send them."""
