"""Becoming a device of a keeper at a server, and trusting its log."""

from contextlib import suppress
from pathlib import Path

import msgspec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.keys import BadKey, VerifierKey, read_verifier
from scalewitness_cli.clock import read_clock, time_by
from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.identity import Identity, fresh_id, identity_of, keep_identity
from scalewitness_cli.outbox import items, resign
from scalewitness_cli.practitioners import forget_names
from scalewitness_cli.remote import Api, Closed, Json, Later, Refusal, Stopped
from scalewitness_cli.store import Store, keep
from scalewitness_cli.trust import add_key


def sign_in(store: Store, anyone: Api, email: str, password: str, device_name: str) -> Identity:
    """As :func:`become`, by a password that is enough.

    Raises:
        Refusal: wrong address or password, or more is asked for.
    """
    asked = {"email": email, "password": password, "name": device_name}
    return become(store, anyone, anyone.post("devices", asked), device_name)


def become(store: Store, anyone: Api, made: Json, device_name: str) -> Identity:
    """Make this the device that the server ``made``, with a key of its own, stored before the
    server hears of the key.

    What waits to be sent is signed anew. The key is enrolled by :func:`enrol`, or else by the
    next sync.

    Raises:
        Stopped: somebody else is signed in at this server in this folder.
    """
    before = identity_of(store)
    with Api(anyone.url, made["token"]) as api:
        me = api.get("keepers/me")
        if before is not None and before.keeper != me["id"]:
            api.delete(f"devices/{made['id']}")
            raise Stopped(
                f"{before.name} is signed in here, and what is kept here is theirs. Name another "
                "folder in SCALEWITNESS_DATA for another keeper."
            )
    private = Ed25519PrivateKey.generate()
    key = DeviceKey(private, keeper=me["id"], device=made["id"])
    identity = Identity(
        keeper=me["id"],
        name=me["name"],
        email=me["email"],
        device=made["id"],
        device_name=device_name,
        token=made["token"],
        private=private.private_bytes_raw().hex(),
        enrolment=key.enrolment(fresh_id(), rfc3339(time_by(read_clock(), anyone.compared))),
        origin=before.origin if before else None,
    )
    keep_identity(store, identity)
    resign(store, key)
    return identity


def sign_out(store: Store, identity: Identity, api: Api) -> None:
    """Have the server forget the device, then forget here its token, its key and all that was
    to be seen. What was noted here stays, for its keeper to send when they sign in again.

    Raises:
        Unreachable: nothing is forgotten; the token would live on.
    """
    _end_key(identity, api)
    try:
        api.delete(f"devices/{identity.device}")
    except Refusal as refusal:
        if refusal.status not in {401, 404}:  # else it is revoked already
            raise
    with store.change() as connection:
        for table in ("animal", "fact", "visit", "sheet_row", "ahead", "collection"):
            connection.execute(f"DELETE FROM {table}")  # noqa: S608  one of these
        forget_names(connection)
        keep(connection, "cursor", None)
    keep_identity(store, msgspec.structs.replace(identity, token="", private="", enrolled=False))
    store.forget_freed()


def _end_key(identity: Identity, api: Api) -> None:
    """State, signed while the key is here, that it signs nothing more: of a keeper whose word takes
    a signature nobody else could. Where the record takes nothing, its token ends all the same."""
    if not identity.enrolled:
        return
    fact = {"id": fresh_id(), "kind": "device_revoked", "about": identity.keeper}
    body = {"device": identity.device}
    with suppress(Closed, Later, Refusal):
        at = rfc3339(time_by(read_clock(), api.compared))
        api.outcomes([identity.key.signed({**fact, "at": at, "body": body})])


def enrol(store: Store, identity: Identity, api: Api) -> Identity:
    """The identity with its key known to the server; repeated it comes to the same."""
    if identity.enrolled:
        return identity
    api.post(f"devices/{identity.device}/key", identity.enrolment)
    return _kept(store, msgspec.structs.replace(identity, enrolled=True))


def log_key(api: Api) -> VerifierKey:
    """The key the server says its log is signed with: to be compared, not believed.

    Raises:
        Stopped: it names none.
    """
    try:
        return read_verifier(str(api.get("log/checkpoint")["key"]))
    except (BadKey, KeyError) as fault:
        raise Stopped(f"{api.url} names no key of its log: {fault}") from None


def trust(store: Store, identity: Identity, key: VerifierKey, file: Path) -> Identity:
    """Keep the key among those trusted on this machine, and hold this server to its log.

    Raises:
        Stopped: the server was held to another log, which took what was said here. One that
            goes on from it must be followed, so that nothing it lost is forgotten.
    """
    if identity.origin not in {None, key.name} and items(store, "accepted"):
        raise Stopped(
            f"This server was held to the log {identity.origin}, and shows {key.name}. If the one "
            "goes on from the other: scalewitness follow-log. If it does not, it is another "
            "record: name another folder for it in SCALEWITNESS_DATA."
        )
    return hold_to(store, identity, key, file)


def hold_to(store: Store, identity: Identity, key: VerifierKey, file: Path) -> Identity:
    """As :func:`trust`, whatever the server was held to before."""
    add_key(file, key)
    return _kept(store, msgspec.structs.replace(identity, origin=key.name))


def _kept(store: Store, identity: Identity) -> Identity:
    keep_identity(store, identity)
    return identity
