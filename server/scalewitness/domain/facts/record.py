"""What the record states by itself."""

from typing import Annotated, Literal

from msgspec import Meta

from scalewitness.domain.facts.shapes import (
    Body,
    Commitment,
    Figure,
    Id,
    KeyText,
    Label,
    NoteText,
    Position,
    Sha256,
    Share,
    Word,
)
from scalewitness.domain.observations import LifeStage, Method, Sex

Footing = Literal["founder", "record", "vouched", "practitioner", "none"]
"""Why somebody's word may verify a sex: the operator named them at the start; their own record;
keepers answer for them; a practice that the operator looked up. Or it may not yet."""
Count = Annotated[int, Meta(ge=0, le=2**31)]


class Circumstance(Body, frozen=True):
    """What the record knew of a call when it was accepted; the weights rest on it.

    ``interested`` is about whoever sent the call: they kept the animal, shared in it, sold or
    bought it. A reported call is another's, at second hand, and never ``blind``: of what its
    examiner knew the record has only what the sender says they were told (``anchored_to``).

    ``identity``: by a code in the animal, by the tag of its tub, by neither, or by a code that
    is not its own. Before ``tub_tag`` was told apart, a tag that was read is ``confirmed`` too.

    ``footing``: of whoever sent it, then; None: from before that was asked, and as good as any.
    ``waits``: it contradicts a verified sex on the word of somebody without a footing, and is left
    out until a later standing counts it. ``one_with``: whoever made it counts as one with an
    earlier examiner of this animal, or with its keeper; a salted commitment to who they are, for
    this call alone.
    """

    call: Id
    stage: LifeStage
    blind: bool
    interested: bool
    identity: Literal["confirmed", "tub_tag", "unconfirmed", "mismatch"]
    anchored_to: Sex | None = None
    footing: Footing | None = None
    waits: bool = False
    one_with: Sha256 | None = None


class ReportStands(Body, frozen=True):
    """What the record makes of a report once somebody spoke of it: the sender's word alone,
    confirmed, or denied by whom it names. ``footing``: the best that stands behind a
    confirmation; None: there is none, or it is from before that was asked."""

    call: Id
    report: Literal["unconfirmed", "confirmed", "denied"]
    footing: Footing | None = None


class StandingChanged(Body, frozen=True):
    """What the record, taken whole up to this position, says of the animal's sex.
    ``reports``: of the calls that the fact before it spoke of. ``verified_with``: the older
    numbers by which the sex is verified, where by ``parameters`` it just is not any more.
    ``counted``: contrary calls of newcomers that waited, and count from here on.
    ``known_elsewhere``: its transponder is another record's, so it is not verified.
    ``calls_elsewhere``: how many calls of other records of the same snake count with its own.
    ``parted``: calls whose examiner counts for themselves from here on, as an objection was
    right. ``joined``: calls whose examiner counts as one with another from here on, as a finding
    says that both accounts are one person's."""

    label: Label
    p_male: Share
    p_male_pessimistic: Share
    parameters: Word
    policy: Word
    examiner_records: Word
    admitted: tuple[Circumstance, ...] = ()
    reports: tuple[ReportStands, ...] = ()
    verified_with: Word | None = None
    counted: tuple[Id, ...] = ()
    known_elsewhere: bool = False
    calls_elsewhere: Count = 0
    parted: tuple[Id, ...] = ()
    joined: tuple[Id, ...] = ()


class PolicyAdopted(Body, frozen=True):
    """A new version of the labelling policy; numbers as decimal strings."""

    version: Word
    parameters: Word
    thresholds: dict[Word, Share]


class AdoptedNumber(Body, frozen=True):
    """One number, with the interval that holds it with 95 in 100, and of how many it was
    learned: males and females whose sex confirmed proof settled, who checked them, and where."""

    name: Annotated[str, Meta(min_length=1, max_length=120)]
    value: Figure
    low: Figure
    high: Figure
    males: Count
    females: Count
    examiners: Count
    collections: Count


class NumbersAdopted(Body, frozen=True):
    """Numbers learned from the first ``learned_until`` entries, in force from here on. A
    ``version`` is a released one, and behind a dot the how manyth on it. ``kept``: how likely
    a verified sex must still be to stay so where nothing but the numbers changed."""

    version: Word
    learned_until: Position
    kept: Share
    numbers: tuple[AdoptedNumber, ...]


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
    """About an examiner: all settled counts, as standings weigh them from here on. ``hosts``: for
    how many other keepers these calls were made; none in records from before they were counted."""

    role: Literal["keeper", "veterinarian", "laboratory", "earlier_keeper"]
    counts: tuple[SettledCounts, ...]
    hosts: Count = 0


class FounderNamed(Body, frozen=True):
    """About a keeper: the operator named them at the start, when nobody had a record here."""


class DeceitFound(Body, frozen=True):
    """About a keeper: a ``finding`` says that they deceived. Their word has no footing, and never
    had one: what was verified by it alone is not."""

    finding: Id


class OnePersonFound(Body, frozen=True):
    """About an animal: a ``finding`` names two accounts that spoke of it as one person's. Unless an
    objection is right, they count as one examiner of this animal once both could object.
    ``accounts``: a salted commitment to who they are, for this animal and finding alone."""

    finding: Id
    accounts: Sha256


class ReportReopened(Body, frozen=True):
    """About an animal: the record judges anew what stands behind a ``call`` that others spoke of,
    as the fact ``cause`` bears on who spoke of it or sent it. The standing that follows says how
    it stands."""

    call: Id
    cause: Id


class CallHeld(Body, frozen=True):
    """About an animal: a call came long after its visit, and waits for the animal's host, under
    its id ``held``. ``sealed`` commits to it (``domain/translog/sealing``) and tells nothing of it.
    ``same_visit_as``: the first such call of the same sender and visit, where this is another."""

    held: Id
    sealed: Sha256
    same_visit_as: Id | None = None


class DataErased(Body, frozen=True):
    """About a fact whose ``text`` or ``photo`` went, or a person: their ``name``, or all they
    wrote (``of`` one sale, where not of everything). Never what it said. By the ``wish`` of whoever
    wrote it or was called so, of the operator, or by a rule of the record."""

    what: Literal["text", "photo", "all_they_wrote", "name"]
    wish: Literal["author", "operator", "record"]
    of: Id | None = None


class BooksClosed(Body, frozen=True):
    """``root`` commits to what the record keeps outside the log, as of now: see
    ``domain/translog/books``."""

    root: Sha256


class MapRoot(Body, frozen=True):
    """The root of the map of subjects over all entries before this one, in hexadecimal, and the
    hash of the public key that it is blinded under (``domain/translog/record_map``)."""

    root: Sha256
    key: Sha256


BODIES: dict[str, type[Body]] = {
    "standing_changed": StandingChanged,
    "policy_adopted": PolicyAdopted,
    "numbers_adopted": NumbersAdopted,
    "origin_succeeded": OriginSucceeded,
    "map_root": MapRoot,
    "examiner_record_changed": ExaminerRecordChanged,
    "founder_named": FounderNamed,
    "deceit_found": DeceitFound,
    "one_person_found": OnePersonFound,
    "report_reopened": ReportReopened,
    "call_held": CallHeld,
    "books_closed": BooksClosed,
    "data_erased": DataErased,
}
