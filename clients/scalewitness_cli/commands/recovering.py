"""``scalewitness recovery-key``, ``recover`` and ``revoke-device``: when devices are lost."""

import os
from collections.abc import Sequence
from uuid import uuid4

import click

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness_cli import recovery
from scalewitness_cli.commands.common import (
    api_of,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.own_word import device_named, print_of, state_now
from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.identity import Identity, fresh_id, moment_now, need_identity
from scalewitness_cli.own_word import trust_key
from scalewitness_cli.remote import Api, Json, Stopped

SHEET = """Recovery key of {name} at {server}
Made {day}. Known there by the key {fingerprint}

    {first}
    {second}

Whoever is signed in as you and types this can lift the rule that only what your devices sign
counts, endorse a new device, and revoke one. Keep it where none of your devices is.
To use it: scalewitness recover, or the page “All devices lost” of your account."""


@click.command("recovery-key")
@click.option("--yes", is_flag=True, help="Do not ask whether it is on paper.")
@server_option
@json_option
@ends_well
def recovery_key(yes: bool, server: str | None, as_json: bool) -> None:
    """Make a recovery key to print, for when all your devices are lost.

    It is shown this once and kept nowhere: print it or write it down. The server learns its public
    half only. This device endorses it, so it counts at once.
    """
    with opened(server) as store:
        identity, secret = need_identity(store), os.urandom(recovery.SECRET_BYTES)
        key = DeviceKey(recovery.private_key(secret), keeper=identity.keeper, device=str(uuid4()))
        if not as_json:
            click.echo(_sheet(store.url, identity, key, secret))
        if not yes:
            click.confirm("Is it on paper?", default=False, abort=True, err=True)
        with api_of(store, identity) as api:
            sent = key.enrolment(fresh_id(), rfc3339(moment_now()), recovery=True)
            api.post(f"recovery-keys/{key.device}", sent)
        body = {"device": key.device, "key": key.public}
        position = state_now(store, identity, "device_key_endorsed", body)
        found = {"device": key.device, "position": position, "words": recovery.spelled(secret)}
        print_result(found, as_json, lambda: f"It counts from position {position} of the log on.")


def _sheet(server: str, identity: Identity, key: DeviceKey, secret: bytes) -> str:
    groups = recovery.spelled(secret).split()
    return SHEET.format(
        name=line(identity.name), server=line(server), day=moment_now().date().isoformat(),
        fingerprint=fingerprint(bytes.fromhex(key.public)),
        first="  ".join(groups[:4]), second="  ".join(groups[4:]),
    )  # fmt: skip


@click.command()
@click.option("--lift", is_flag=True, help="Let facts count without a signature again.")
@click.option("--revoke", metavar="DEVICE", help="Revoke one that is lost, by name or id.")
@server_option
@json_option
@ends_well
def recover(lift: bool, revoke: str | None, server: str | None, as_json: bool) -> None:
    """With your recovery key, endorse this device as yours.

    For when all your devices are lost. The key is asked for; it is kept nowhere. A letter tells of
    its use, and other devices of yours ask whether it was you.
    """
    if lift and revoke:
        raise click.UsageError("Either --lift or --revoke.")
    with opened(server) as store:
        identity = need_identity(store)
        secret = _typed()
        with api_of(store, identity) as api:
            devices = api.get("devices")["items"]
            key = _key_on_paper(devices, identity, secret)
            kind, body = _wanted(devices, identity, lift, revoke)
            position = _state_by(api, key, kind, body)
        trust_key(store, key.public)
        print_result(
            {"kind": kind, "position": position}, as_json,
            lambda: f"{DONE[kind]} It is in the log at {position}.",
        )  # fmt: skip


DONE = {
    "signatures_required": "Facts count in your name without a signature again.",
    "device_key_endorsed": "This device is endorsed as yours.",
    "device_revoked": "It is revoked: it signs nothing any more.",
}


def _typed() -> bytes:
    """
    Raises:
        Stopped: it is mistyped.
    """
    try:
        return recovery.read(click.prompt("Recovery key", err=True))
    except recovery.Mistyped as fault:
        raise Stopped(f"{line(fault)} Nothing was sent.") from None


def _key_on_paper(devices: Sequence[Json], identity: Identity, secret: bytes) -> DeviceKey:
    """
    Raises:
        Stopped: the keeper has no such key, or it counts for nothing.
    """
    private = recovery.private_key(secret)
    public = private.public_key().public_bytes_raw().hex()
    known = [one for one in devices if one["key"] and one["key"]["public"] == public]
    if not known:
        raise Stopped("It is spelled well, but is no recovery key of yours at this server.")
    (one,) = known
    if one["key"]["revoked_position"] is not None:
        raise Stopped(f"It was revoked in the log at {one['key']['revoked_position']}.")
    if one["key"]["by_password_only"]:
        raise Stopped("No device of yours ever endorsed it, so it counts for nothing.")
    return DeviceKey(private, keeper=identity.keeper, device=one["id"])


def _wanted(
    devices: Sequence[Json], identity: Identity, lift: bool, revoke: str | None
) -> tuple[str, Json]:
    if lift:
        return "signatures_required", {"required": False}
    if revoke is not None:
        return "device_revoked", {"device": device_named(_that_sign(devices), revoke)["id"]}
    return "device_key_endorsed", {"device": identity.device, "key": identity.key.public}


def _state_by(api: Api, key: DeviceKey, kind: str, body: Json) -> int:
    fact = {"id": fresh_id(), "kind": kind, "at": rfc3339(moment_now()), "body": body}
    signed = key.signed({**fact, "about": key.keeper})
    sent = {name: signed[name] for name in ("id", "kind", "at", "body", "sig")}
    return int(api.post(f"recovery-keys/{key.device}/facts", sent)["position"])


@click.command("revoke-device")
@click.argument("device", required=False)
@server_option
@json_option
@ends_well
def revoke_device(device: str | None, server: str | None, as_json: bool) -> None:
    """State, signed by this device, that another DEVICE or a recovery key of yours is lost.

    What it signed before stays signed. From then on the server takes nothing of it, and every
    device of yours alarms on what it signs all the same. Without DEVICE it lists those that sign.
    """
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            found = _that_sign(api.get("devices")["items"])
        if device is None:
            print_result(found, as_json, lambda: "\n".join(map(_row, found)))
            return
        one = device_named(found, device)
        position = state_now(store, identity, "device_revoked", {"device": one["id"]})
        print_result(
            {"device": one["id"], "position": position}, as_json,
            lambda: f"“{line(one['name'])}” is revoked. It is in the log at {position}.",
        )  # fmt: skip


def _that_sign(devices: Sequence[Json]) -> list[Json]:
    return [one for one in devices if one["key"] and one["key"]["revoked_position"] is None]


def _row(one: Json) -> str:
    mark = "  this one" if one["this"] else ""
    return (
        f"{line(one['name'])}  {one['id']}  since {line(one['enrolled_at'])}{mark}\n"
        f"  key {print_of(one)}"
    )
