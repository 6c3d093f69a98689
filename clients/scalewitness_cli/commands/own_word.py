"""``scalewitness in-my-name``, ``require-signatures`` and ``endorse``: a keeper's own word."""

import json
from collections.abc import Sequence
from typing import Any

import click

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.own_word import Doubt
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness_cli.checks import BadWord
from scalewitness_cli.commands.common import (
    NEEDS_YOU,
    api_of,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.identity import Identity, fresh_id, moment_now, need_identity
from scalewitness_cli.own_word import InMyName, alarmed, answer, doubted
from scalewitness_cli.remote import Json, Stopped
from scalewitness_cli.store import Store, data_folder, used_servers

WHY: dict[Doubt, str] = {
    "unsigned_ruled": "it is not signed, and you ruled that only what your devices sign counts",
    "unknown_key": "a device signed it that no entry gives a key",
    "forged": "its signature does not fit its device's key",
    "revoked": "a device signed it that had been revoked",
    "recovery_misused": "a recovery key signed it, which signs no such thing",
    "recovery": "your recovery key signed it: whoever has the sheet and is signed in as you",
    "notice": "it is notice, given on a page, that all your devices are lost: 14 days after it "
    "facts count in your name unsigned again. Stop it: scalewitness require-signatures "
    "--stop-notice",
    "unsigned": "a device sent it without a signature",
    "by_password": "a device signed it whose key nothing but the password stands for",
    "page": "it was made on a page, or by whoever says so",
}
AND_NOW = (
    "Was that you: scalewitness in-my-name --mine ID (a fact's, or its device's). Was it not: "
    "--not-mine ID; then revoke the device, set a new password, and withdraw what can be withdrawn."
)
MOST_LISTED = 20
"""Facts of one device shown one by one (our judgement)."""


@click.command("in-my-name")
@click.option("--mine", "mine", multiple=True, metavar="ID",
    help="This was you: a fact, or all that its device sent; “pages”: all made there.")  # fmt: skip
@click.option("--not-mine", "not_mine", multiple=True, metavar="ID", help="This was not you.")
@server_option
@json_option
@click.pass_context
@ends_well
def in_my_name(
    ctx: click.Context, mine: tuple[str, ...], not_mine: tuple[str, ...], server: str | None,
    as_json: bool,
) -> None:  # fmt: skip
    """List facts in your name that no device of yours is known to have signed.

    Those made on pages too, which raise no alarm. Ends with 1 if anything else is in doubt.
    """
    with opened(server) as store:
        found = doubted(store)
        for reply, ids in (("mine", mine), ("not mine", not_mine)):
            for id in ids:
                answer(store, _named(found, id), reply)
        listed = doubted(store)
        print_result(
            [shown(store.url, one) for one in listed], as_json,
            lambda: _all_in_words(listed) or "Nothing in your name is in doubt.",
        )  # fmt: skip
        ctx.exit(NEEDS_YOU if alarmed(store) else 0)


def _named(found: Sequence[InMyName], id: str) -> list[InMyName]:
    wanted = id.lower()
    listed = [
        one
        for one in found
        if wanted in {one.id, one.fact, one.device or "pages"} or one.fact.endswith(wanted)
    ]
    if not wanted or not listed:
        raise BadWord(f"Nothing in doubt here is called “{id}”.")
    return listed


def standing() -> list[tuple[str, InMyName]]:
    """What stands in doubt at each server known here."""
    found = []
    for url in used_servers(data_folder()):
        with Store(data_folder(), url) as store:
            found += [(url, one) for one in alarmed(store)]
    return found


def set_aside(id: str, because: str) -> bool:
    """Close the matter of a fact in doubt, with what was found out; whether one is called so."""
    for url in used_servers(data_folder()):
        with Store(data_folder(), url) as store:
            named = [one for one in doubted(store) if id in {one.id, one.fact}]
            answer(store, named, f"closed: {because}")
            if named:
                return True
    return False


def shown(url: str, one: InMyName) -> dict[str, Any]:
    """For programs, with the evidence: the entry's very bytes and its position."""
    return {
        "outcome": "in_my_name", "server": url, "alarm": one.id, "fact": one.fact,
        "position": one.position, "kind": one.kind, "device": one.device, "at": one.at,
        "why": one.why, "forged": one.alarms, "answer": one.answer, "leaf": one.leaf.decode(),
    }  # fmt: skip


def doubt_in_words(found: dict[str, Any]) -> str:
    """One of :func:`shown`, with its evidence."""
    sign = "ALARM" if found["forged"] else "TO CONFIRM"
    return "\n".join(
        [
            f"{sign} {found['alarm']}: in your name at {line(found['server'])}, position "
            f"{found['position']}, {line(found['at'])}:",
            f"  {_kind(found['kind'], json.loads(found['leaf'])['body'])} But {WHY[found['why']]}.",
            f"  Device: {found['device'] or 'none'}. The entry: {line(found['leaf'])}",
            f"  {AND_NOW}",
            f"  To close the matter: scalewitness acknowledge {found['alarm']} --because TEXT",
        ]
    )


def _kind(kind: str, body: dict[str, Any]) -> str:
    return line(in_words(kind, body))


def _all_in_words(found: Sequence[InMyName]) -> str:
    groups: dict[tuple[str, Doubt], list[InMyName]] = {}
    for one in found:
        groups.setdefault((one.device or "pages", one.why), []).append(one)
    lines = []
    for (device, why), some in groups.items():
        lines.append(f"{line(device)}: {len(some)}; {WHY[why]}.")
        lines += [f"  {_row(one)}" for one in some[:MOST_LISTED]]
        if len(some) > MOST_LISTED:
            lines.append(f"  and {len(some) - MOST_LISTED} more")
    return "\n".join([*lines, AND_NOW] if lines else [])


def _row(one: InMyName) -> str:
    denied = " (not you, by your word)" if one.answer else ""
    return f"{one.id}  {one.position}  {line(one.at)}  {_kind(one.kind, one.entry['body'])}{denied}"


@click.command("require-signatures")
@click.option("--lift", is_flag=True, help="Let facts count without a signature again.")
@click.option("--stop-notice", "stop", is_flag=True,
    help="Stop the notice that all your devices are lost: this one is not.")  # fmt: skip
@click.option("--wait/--no-wait", default=True, show_default=True,
    help="Whether a new key that no device endorsed counts only after three days.")  # fmt: skip
@click.option("--yes", is_flag=True, help="Do not ask.")
@server_option
@json_option
@ends_well
def require_signatures(
    lift: bool, stop: bool, wait: bool, yes: bool, server: str | None, as_json: bool
) -> None:
    """Rule that nothing counts in your name but what your devices sign.

    From then on the record takes nothing unsigned in your name, from any page or program. What
    you type on a page can be saved there to a file, which scalewitness send signs and sends.
    """
    with opened(server) as store:
        identity = need_identity(store)
        if stop:
            _stop_notice(store, identity, as_json)
            return
        if not lift and not yes:
            click.echo(BEFORE_RULING, err=True)
            click.confirm("Rule it?", default=False, abort=True, err=True)
        body = {"required": False} if lift else {"wait": True} if wait else {}
        position = state_now(store, identity, "signatures_required", body)
        print_result(
            {"required": not lift, "wait": wait and not lift, "position": position}, as_json,
            lambda: f"{LIFTED if lift else RULED} It is in the log at {position}.",
        )  # fmt: skip


def _stop_notice(store: Store, identity: Identity, as_json: bool) -> None:
    """
    Raises:
        Stopped: none runs, or it was refused.
    """
    with api_of(store, identity) as api:
        notice = api.get("devices")["notice"]
    if notice is None:
        raise Stopped("No notice runs that all your devices are lost.")
    position = state_now(store, identity, "signing_notice_stopped", {"notice": notice["id"]})
    print_result(
        {"stopped": notice["id"], "position": position}, as_json,
        lambda: f"{RULED} That all are lost was stopped, in the log at {position}.",
    )  # fmt: skip


BEFORE_RULING = (
    "From now on nothing counts in your name but what your devices sign. You record on the "
    "phone, with this command, or on pages in a browser that you let sign (your account, Devices); "
    "what is typed in another can be saved to a file and signed here. A device of yours lifts the "
    "rule; keep more than one. If all are lost, your account's page lifts it, 14 days after you "
    "give notice there."
)
RULED = "Nothing counts in your name now but what your devices sign."
LIFTED = "Facts count in your name without a signature again."


@click.command()
@click.argument("device", required=False)
@click.option("--key", "compared", metavar="FINGERPRINT", help="Its key's, as the device itself "
    "shows it. Else you are asked to compare.")  # fmt: skip
@click.option("--refuse", is_flag=True, help="It is not yours: revoke its key for good.")
@server_option
@json_option
@ends_well
def endorse(
    device: str | None, compared: str | None, refuse: bool, server: str | None, as_json: bool
) -> None:
    """State, signed by this device, that another DEVICE of yours is yours: its name or id.

    Without one it lists those that nothing but the password stands for. Compare the key with what
    the device itself shows, never with what a page shows: whoever runs the server could show
    any key.
    """
    with opened(server) as store:
        identity = need_identity(store)
        with api_of(store, identity) as api:
            waiting = [one for one in api.get("devices")["items"] if _is_weak(one)]
        if device is None:
            print_result(waiting, as_json, lambda: _devices_in_words(waiting))
            return
        one = device_named(waiting, device)
        if refuse:
            position = state_now(store, identity, "device_revoked", {"device": one["id"]})
        else:
            compare(one, compared)
            body = {"device": one["id"], "key": one["key"]["public"]}
            position = state_now(store, identity, "device_key_endorsed", body)
        done = "revoked: it signs nothing any more" if refuse else "endorsed as yours"
        print_result(
            {"device": one["id"], "refused": refuse, "position": position}, as_json,
            lambda: f"“{line(one['name'])}” is {done}. It is in the log at {position}.",
        )  # fmt: skip


def print_of(one: Json) -> str:
    """Of the very key that would be endorsed: the server could show another's beside it.

    Raises:
        Stopped: it is no key.
    """
    try:
        return fingerprint(bytes.fromhex(one["key"]["public"]))
    except ValueError:
        raise Stopped("The server names something that is no key.") from None


def _is_weak(one: Json) -> bool:
    key = one["key"]
    return bool(key and key["by_password_only"] and key["revoked_position"] is None)


def device_named(found: Sequence[Json], word: str) -> Json:
    """
    Raises:
        Stopped: none or several go by that name or end of an id.
    """
    named = [one for one in found if word in {one["id"], one["name"]} or one["id"].endswith(word)]
    if len(named) != 1:
        raise Stopped(f"{len(named)} such devices are called “{word}”: name one by id.")
    return named[0]


def compare(one: Json, compared: str | None) -> None:
    """
    Raises:
        Stopped: the fingerprints differ, or the person says so.
    """
    shown_there = print_of(one)
    if compared is None:
        click.echo(f"“{line(one['name'])}” must show, on itself:\n  {shown_there}", err=True)
        same = click.confirm("Is it the same?", default=False, err=True)
    else:
        same = "".join(compared.split()).lower() == "".join(shown_there.split())
    if not same:
        raise Stopped(
            "The keys differ, so it is not endorsed. If nobody mistyped, somebody enrolled a "
            "device in your name: scalewitness endorse --refuse, and set a new password."
        )


def _devices_in_words(found: Sequence[Json]) -> str:
    rows = [
        f"{line(one['name'])}  {one['id']}  since {line(one['enrolled_at'])}\n  key {print_of(one)}"
        for one in found
    ]
    return "\n".join(rows) or "Every device of yours that signs is endorsed."


def state_now(
    store: Store,
    identity: Identity,
    kind: str,
    body: Json,
    about: str | None = None,
    id: str | None = None,
) -> int:
    """Have it taken now, signed; its position. ``about`` None: the keeper themselves; ``id`` None:
    a fresh one.

    Raises:
        Stopped: it was refused.
    """
    now, whom = rfc3339(moment_now()), about or identity.keeper
    fact = {"id": id or fresh_id(), "kind": kind, "at": now, "about": whom}
    with api_of(store, identity) as api:
        (outcome,) = api.outcomes([identity.key.signed({**fact, "body": body})])
    if outcome["status"] == "refused":
        raise Stopped(str(outcome["problem"]["detail"]))
    return int(outcome["position"])
