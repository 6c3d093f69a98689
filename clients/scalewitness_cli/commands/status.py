"""``scalewitness status``: how things stand on this machine, without asking anybody."""

from collections.abc import Iterator
from typing import Any

import click

from scalewitness.domain.moments import parse_moment
from scalewitness_cli import clock, outbox, replica
from scalewitness_cli.clock import minute
from scalewitness_cli.commands.common import (
    FINE,
    NEEDS_YOU,
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
)
from scalewitness_cli.commands.unsent import NEEDING
from scalewitness_cli.identity import Identity, identity_of
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.own_word import doubted
from scalewitness_cli.photos import unsent_files
from scalewitness_cli.readings import kept_comparison, now_by
from scalewitness_cli.store import Store


@click.command()
@server_option
@json_option
@click.pass_context
@ends_well
def status(ctx: click.Context, server: str | None, as_json: bool) -> None:
    """Show who is signed in where, what waits, when the server was last heard, and what needs you.

    Asks nothing of the server. Ends with 1 when something needs you.
    """
    with opened(server) as store:
        found = _found(store, identity_of(store))
    print_result(found, as_json, lambda: "\n".join(_in_words(found)))
    ctx.exit(NEEDS_YOU if found["needs_you"] else FINE)


def _found(store: Store, identity: Identity | None) -> dict[str, Any]:
    counts = outbox.counts(store)
    compared = kept_comparison(store)
    left: dict[str, int] = {state: counts.get(state, 0) for state in outbox.OPEN}
    log = _log(identity)
    signed_in = bool(identity and identity.token)
    asked = bool(log and log["alarm"]) or any(left[state] for state in NEEDING) or not signed_in
    doubts = doubted(store)
    return {
        "server": store.url,
        "name": identity.name if identity else None,
        "device": identity.device_name if identity else None,
        "signed_in": signed_in,
        "left": left,
        "photos": unsent_files(store),
        "heard": None if compared is None else minute(clock.moment(compared.server)),
        "clock": clock.in_words(clock.judged(clock.read_clock(), compared)) if compared else "",
        "animals": len(replica.animals(store)),
        "visits": _visits(store),
        "log": log,
        "in_my_name": len(doubts),
        "needs_you": asked or any(one.alarms for one in doubts),
    }


def _log(identity: Identity | None) -> dict[str, Any] | None:
    """What this machine remembers of the log it holds the server to."""
    if identity is None or identity.origin is None:
        return None
    memory = Memory(state_folder(), identity.origin)
    kept, alarm = memory.seen(), memory.alarm()
    size = max((one.size for one in kept), default=None)
    return {"origin": identity.origin, "size": size, "alarm": alarm and alarm.id}


def _visits(store: Store) -> list[dict[str, Any]]:
    """Those one is invited to, or is a guest of, that are not over."""
    now = now_by(store)
    return [
        {name: one[name] for name in ("id", "state", "opens", "closes", "count")}
        | {"host": one["host"]["name"]}
        for one in replica.visits(store)
        if one["animals"] is None
        and one["state"] in {"invited", "accepted", "open"}
        and now <= parse_moment(one["closes"])
    ]


def _in_words(found: dict[str, Any]) -> Iterator[str]:
    who = f"{line(found['name'])} on “{line(found['device'])}”" if found["name"] else "Nobody"
    signed = "is signed in" if found["signed_in"] else "is signed out"
    yield f"{who} {signed} at {line(found['server'])}."
    heard = found["heard"]
    yield f"The server was last heard on {heard}." if heard else "The server was not heard yet."
    if found["clock"]:
        yield f"  ! {found['clock']}"
    waits = [f"{number} {state}" for state, number in found["left"].items() if number]
    waits += [f"{found['photos']} photos"] if found["photos"] else []
    yield f"Left here: {', '.join(waits)}." if waits else "Nothing waits here."
    yield f"{found['animals']} animals are known here."
    for one in found["visits"]:
        until = minute(parse_moment(one["closes"]))
        yield f"Visit {one['id']} at {line(one['host'])}'s: {one['state']}, until {until}."
    yield from _of_the_log(found)


def _of_the_log(found: dict[str, Any]) -> Iterator[str]:
    log = found["log"]
    if log is None:
        yield "No key of its log is trusted here (scalewitness trust-log KEY)."
    elif log["alarm"]:
        yield f"ALARM {log['alarm']} about the log stands: scalewitness alarms."
    elif log["size"] is None:
        yield f"The log {line(log['origin'])} was not looked at yet."
    else:
        yield f"The log {line(log['origin'])} was seen whole up to {log['size']} entries."
    if found["in_my_name"]:
        yield f"{found['in_my_name']} in your name that no device of yours signed: see alarms."
