"""Access, devices and visits."""

from typing import Annotated, Literal

from msgspec import Meta

from scalewitness.domain.facts.shapes import Body, Id, KeyText, Moment, Position, PublicKey

Practice = Literal["veterinarian", "laboratory"]


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
    the log can check the device's signatures from here on. ``key``: Ed25519, 32 bytes.
    ``recovery``: no device holds it but a sheet of paper, which goes by the id of a device. It
    signs nothing but what :func:`~scalewitness.domain.translog.devices.recovers` names."""

    device: Id
    key: PublicKey
    recovery: bool = False


class DeviceRevoked(Body, frozen=True):
    """About the keeper. What the device signed before stays signed; nothing new is taken."""

    device: Id


class DeviceKeyEndorsed(Body, frozen=True):
    """About the keeper, signed by a device of theirs whose key is their own word: this other
    ``device``, with this ``key``, is theirs too."""

    device: Id
    key: PublicKey


class SignaturesRequired(Body, frozen=True):
    """About the keeper, and signed: from here on nothing counts in their name but what a device
    of theirs signed; or anything does again, where ``required`` is false. ``wait``: a key that no
    device endorsed counts only three days after it was enrolled."""

    required: bool = True
    wait: bool = False


class SigningNoticeGiven(Body, frozen=True):
    """About the keeper, and unsigned: no device of theirs is left to sign anything. Their ruling
    that signatures are required ends fourteen days after this was received, unless it is stopped
    before."""


class SigningNoticeStopped(Body, frozen=True):
    """About the keeper, signed by a device of theirs whose key is their own word: not all are lost,
    and the ``notice`` ends nothing."""

    notice: Id


class WitnessRevoked(Body, frozen=True):
    """About the keeper, of a witness ``key`` of theirs, lost or in wrong hands: what it says of
    trees of this ``size`` or larger is worth nothing. None: of those that hold this entry."""

    key: KeyText
    size: Position | None = None


class KeeperVouched(Body, frozen=True):
    """About a keeper: whoever states it answers for them as an examiner, or does so no longer.
    ``practice``: or that their account is that of a practice or laboratory, as it says."""

    vouches: bool = True
    practice: Practice | None = None


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


BODIES: dict[str, type[Body]] = {
    "grant_given": GrantGiven,
    "grant_revoked": GrantRevoked,
    "device_key_enrolled": DeviceKeyEnrolled,
    "device_revoked": DeviceRevoked,
    "device_key_endorsed": DeviceKeyEndorsed,
    "signatures_required": SignaturesRequired,
    "signing_notice_given": SigningNoticeGiven,
    "signing_notice_stopped": SigningNoticeStopped,
    "witness_revoked": WitnessRevoked,
    "keeper_vouched": KeeperVouched,
    "visit_invited": VisitInvited,
    "visit_accepted": VisitAccepted,
    "visit_declined": VisitDeclined,
    "visit_cancelled": VisitCancelled,
}
