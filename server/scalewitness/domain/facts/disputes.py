"""Disputes."""

from typing import Literal

from scalewitness.domain.facts.shapes import Body, Commitment, Id, Sha256


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
    """The outcome of a dispute, as the animal's keeper records it. A call set aside stays visible;
    it no longer counts. ``proposed``: calls that are set aside once somebody else agrees.
    ``basis``: on whose word the keeper says that it rests; ``arbiter``: the keeper whom they name;
    ``document``: SHA-256 of a written report, which its holders keep and can show to be that
    one."""

    outcome: Literal["call_set_aside", "calls_stand", "wrong_animal", "unresolved"]
    set_aside: tuple[Id, ...] = ()
    proposed: tuple[Id, ...] = ()
    remedy: Literal["none", "refund", "exchange", "recheck", "other"] = "none"
    reasons: Commitment | None = None
    basis: Literal["agreement", "arbiter", "veterinarian"] | None = None
    arbiter: Id | None = None
    document: Sha256 | None = None


class FindingAnswered(Body, frozen=True):
    """Of a dispute: its other side, or the arbiter named, agrees to the finding or does not.
    ``set_aside``: the calls proposed there that this sets aside."""

    finding: Id
    agrees: bool
    set_aside: tuple[Id, ...] = ()


BODIES: dict[str, type[Body]] = {
    "dispute_opened": DisputeOpened,
    "statement_made": StatementMade,
    "finding_recorded": FindingRecorded,
    "finding_answered": FindingAnswered,
}
