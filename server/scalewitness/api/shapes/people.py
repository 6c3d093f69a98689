"""Keepers, devices and grants as shown."""

from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.animals.models import Collection
from scalewitness.animals.queries.grants import Wait
from scalewitness.api.shapes import words
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness.people.models import Device, DeviceKey, Grant, Keeper, Practitioner


class Person(Struct, frozen=True):
    """A keeper, veterinarian, laboratory or buyer by the name people know them by."""

    id: UUID
    name: str


class Profile(Struct, frozen=True):
    """One's own account. Others find it by address once the address is verified."""

    id: UUID
    name: str
    email: str
    email_verified: bool
    version: int


class LetterSent(Struct, frozen=True):
    """A letter is on its way to ``email``; what it says, only its reader knows."""

    email: str


class KeyShown(Struct, frozen=True):
    """The Ed25519 key a device signs facts with: ``public`` in hexadecimal, ``fingerprint``
    for people to compare, and where in the log it was enrolled and, if so, revoked.
    ``by_password_only``: no device whose key is the keeper's own word endorsed it.
    ``recovery``: it is on paper, and the device no more than a name for it."""

    public: str
    fingerprint: str
    position: int
    revoked_position: int | None
    by_password_only: bool
    recovery: bool


class DeviceShown(Struct, frozen=True):
    """A phone or computer signed in on; ``this``: the one asking. ``key`` None: it cannot
    sign."""

    id: UUID
    name: str
    enrolled_at: datetime
    revoked_at: datetime | None
    this: bool
    key: KeyShown | None


class DeviceEnrolled(Struct, frozen=True):
    """``token`` is shown this once."""

    id: UUID
    name: str
    token: str


class HandOver(Struct, frozen=True):
    """Members as RFC 8628, 3.2 names them. ``device_code`` is for the device alone;
    ``user_code`` is for its keeper to type at ``verification_uri``. Seconds."""

    device_code: str
    user_code: str
    verification_uri: str
    expires_in: int
    interval: int


class SigningNoticeRuns(Struct, frozen=True):
    """That all devices are lost: at ``ends_rule`` facts count without a signature again."""

    id: UUID
    ends_rule: datetime


class Devices(Struct, frozen=True):
    """``signatures_required``: nothing counts in the keeper's name but what a device signed.
    ``notice``: one that runs against that."""

    items: list[DeviceShown]
    signatures_required: bool
    notice: SigningNoticeRuns | None


class CollectionNamed(Struct, frozen=True):
    """``name`` is None where it would tell a guest too much."""

    id: UUID
    name: str | None


class GrantShown(Struct, frozen=True):
    """``given``: on a collection of one's own. ``animals`` None: all of the collection.
    ``ended``: revoked before its time. ``waiting``: it opens nothing before the calls of a blind
    visit are in that its holder had accepted, on ``waits_for`` (told to who gave it) and
    until ``waits_until`` at the latest; so that the check stays blind."""

    id: UUID
    given: bool
    collection: CollectionNamed
    to: Person
    role: words.GrantRole
    animals: list[UUID] | None
    opens: datetime
    closes: datetime | None
    state: words.GrantState
    waits_until: datetime | None
    waits_for: list[UUID]


class Grants(Struct, frozen=True):
    items: list[GrantShown]


def person(who: Keeper | Practitioner) -> Person:
    return Person(who.pk, who.name)


def named(id: UUID, names: dict[UUID, str]) -> Person:
    """Someone known by id; ``names`` as `people.queries.names_of` gives them."""
    return Person(id, names.get(id, "unknown"))


def profile(keeper: Keeper, *, verified: bool) -> Profile:
    return Profile(
        id=keeper.pk,
        name=keeper.name,
        email=keeper.email,
        email_verified=verified,
        version=keeper.version,
    )


def device(one: Device, current: UUID | None, *, by_password_only: bool) -> DeviceShown:
    return DeviceShown(
        id=one.pk,
        name=one.name,
        enrolled_at=one.enrolled_at,
        revoked_at=one.revoked_at,
        this=one.pk == current,
        key=_key(one.key, by_password_only) if hasattr(one, "key") else None,
    )


def _key(one: DeviceKey, by_password_only: bool) -> KeyShown:
    return KeyShown(
        public=one.public,
        fingerprint=fingerprint(bytes.fromhex(one.public)),
        position=one.position,
        revoked_position=one.end.position if hasattr(one, "end") else None,
        by_password_only=by_password_only,
        recovery=one.recovery,
    )


def grant(
    one: Grant, collection: Collection, wait: Wait | None, *, given: bool, now: datetime
) -> GrantShown:
    state = grant_state(one, wait, now)
    waits = wait if state == "waiting" else None
    return GrantShown(
        id=one.pk,
        given=given,
        collection=CollectionNamed(collection.pk, collection.name),
        to=person(one.to),
        role=one.role,
        animals=None if one.whole else sorted(named.animal for named in one.named.all()),
        opens=one.opens,
        closes=one.closes,
        state=state,
        waits_until=waits.until if waits else None,
        waits_for=sorted(waits.animals) if waits and given else [],
    )


def grant_state(one: Grant, wait: Wait | None, now: datetime) -> str:
    if hasattr(one, "end"):
        return "ended"
    if now < one.opens:
        return "to_come"
    if one.closes is not None and one.closes <= now:
        return "over"
    return "waiting" if wait else "in_force"
