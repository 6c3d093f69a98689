"""``scalewitness sync``: send what waits, fetch what is new, hold the log to what it was."""

import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import click
import msgspec

from scalewitness_cli import outbox
from scalewitness_cli.commands.common import (
    FINE,
    NEEDS_YOU,
    UNREACHABLE,
    ends_well,
    json_option,
    line,
    opened,
    server_option,
    tell,
)
from scalewitness_cli.commands.trusted import kept_or_usage
from scalewitness_cli.feed import cursor_of
from scalewitness_cli.identity import Identity, need_identity
from scalewitness_cli.locking import locked
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.photos import refused_files
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Api, Patience, Refusal, Unreachable
from scalewitness_cli.store import Store
from scalewitness_cli.sync import Line, Synced
from scalewitness_cli.sync import sync as run
from scalewitness_cli.trust import log_keys


@click.command()
@click.option("--patience", default=20.0, show_default=True, type=click.FloatRange(0, 3600),
    help="Seconds to go on trying a server that does not answer.")  # fmt: skip
@click.option(
    "--follow",
    is_flag=True,
    help="Go on until Ctrl-C; what changes at the server is here within a second.",
)
@server_option
@json_option
@click.pass_context
@ends_well
def sync(
    ctx: click.Context, patience: float, follow: bool, server: str | None, as_json: bool
) -> None:
    """Send what waits and fetch what is new.

    Ends with 0 when all is well; with 1 when something needs you (a refused or conflicting
    item, an alarm about the log, a device signed out); with 3 when the server could not be
    reached or takes nothing: everything is stored, and the next sync goes on from there.
    """
    with opened(server) as store:
        identity = need_identity(store)
        trying = Patience(seconds=patience, asked=patience)
        with Api(store.url, identity.token, trying) as api, PublicLog(store.url) as log:
            there = _line(identity, api, log)
            with locked(store.folder / "sync.lock"):
                found = _shown(store, _watched(store, identity, there))
            tell(found, as_json, lambda: _told(found))
            if follow and not found["alarm"]:
                for found in _following(store, identity, there):
                    _tell_news(found, as_json)
        ctx.exit(_status(found))


def _following(store: Store, identity: Identity, there: Line) -> Iterator[dict[str, Any]]:
    """A sync whenever there is something to send or to fetch, until Ctrl-C or an alarm. A
    server that is away is tried again; meanwhile everything is stored here."""
    with suppress(KeyboardInterrupt):
        while True:
            try:
                if not _is_news(store, there.api):
                    continue
                with locked(store.folder / "sync.lock"):
                    done = run(store, identity, there, int(time.time()))
            except Unreachable as why:
                click.echo(f"{line(str(why))} Trying again.", err=True)
                time.sleep(PAUSE)
                continue
            yield _shown(store, done)
            if done.alarm:
                return
            if done.unsent:
                time.sleep(PAUSE)


def _is_news(store: Store, api: Api) -> bool:
    """Whether anything waits here or there, having waited a little for it. Others may sync
    meanwhile."""
    if outbox.items(store, "waiting"):
        return True
    cursor = cursor_of(store)
    after = {"cursor": cursor} if cursor else {}
    try:
        page = api.get("changes", limit="1", wait=str(WAIT), **after)
    except Refusal as refusal:
        if refusal.status == 410:  # a sync knows what to do
            return True
        raise
    return bool(page["items"] or page["more"])


def _tell_news(found: dict[str, Any], as_json: bool) -> None:
    """Nothing while nothing happens."""
    if any(found[name] for name in NEWS):
        tell(found, as_json, lambda: _told(found))


WAIT = 5
"""Seconds that the server keeps an answer; what is said here meanwhile waits as long."""
PAUSE = 5.0
"""Seconds before a server that is away is tried again."""
NEWS = ("sent", "photos", "pulled", "purged", "resynced", "receipts", "unsent", "alarm")


def _watched(store: Store, identity: Identity, line: Line) -> Synced:
    """With a bar where somebody looks on and there is much to send."""
    waiting = len(outbox.items(store, "waiting"))
    if not sys.stderr.isatty() or waiting <= outbox.MOST_ITEMS:
        return run(store, identity, line, int(time.time()))
    with click.progressbar(length=waiting, label="Sending", file=sys.stderr) as bar:
        return run(
            store, identity, line, int(time.time()),
            lambda step: bar.update(outbox.MOST_ITEMS) if step == "settled" else None,
        )  # fmt: skip


def _line(identity: Identity, api: Api, log: PublicLog) -> Line:
    keys = log_keys(kept_or_usage(), identity.origin) if identity.origin else []
    memory = Memory(state_folder(), identity.origin) if identity.origin and keys else None
    return Line(api, log, memory, keys)


def _shown(store: Store, done: Synced) -> dict[str, Any]:
    counts = outbox.counts(store)
    left = {state: counts.get(state, 0) for state in outbox.OPEN}
    told: dict[str, Any] = msgspec.to_builtins(done)
    more = {"not_in_log": len(outbox.faults(store)), "photos_refused": refused_files(store)}
    return told | {"left": left, **more}


def _status(found: dict[str, Any]) -> int:
    left = found["left"]
    if found["alarm"] or found["not_in_log"] or left["refused"] or left["conflict"]:
        return NEEDS_YOU
    return UNREACHABLE if found["unsent"] else FINE


def _told(found: dict[str, Any]) -> str:
    left = {state: number for state, number in found["left"].items() if number}
    told = [
        f"Sent {found['sent']}{_photos(found['photos'])}, received {found['pulled']}, "
        f"receipts {found['receipts']}.",
        "Everything was fetched anew." if found["resynced"] else "",
        _number(found["purged"], "animal is", "animals are", "no longer for you to see: gone."),
        f"The server takes nothing for now: {found['unsent']}" if found["unsent"] else "",
        f"Left here: {', '.join(f'{n} {state}' for state, n in left.items())}." if left else "",
        f"ALARM {found['alarm']} about the log stands: {found['unread']}. "
        "See scalewitness alarms." if found["alarm"] else "",
        *(f"Photo {id} is not taken: {why}" for id, why in found["photos_refused"].items()),
        _number(found["not_in_log"], "accepted item is", "accepted items are",
                "NOT in the log as sent: see scalewitness unsent."),
        "" if found["checked"] or found["alarm"] else "The log was not checked: no key of it is "
        "trusted here (scalewitness trust-log KEY).",
    ]  # fmt: skip
    return "\n".join(line(one) for one in told if one)


def _photos(number: int) -> str:
    return f" and {_number(number, 'photo', 'photos', '')}".rstrip() if number else ""


def _number(number: int, one: str, more: str, rest: str) -> str:
    return f"{number} {one if number == 1 else more} {rest}" if number else ""
