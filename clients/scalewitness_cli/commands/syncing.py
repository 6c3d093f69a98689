"""``scalewitness sync``: send what waits, fetch what is new, hold the log to what it was."""

import random
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
    print_result,
    server_option,
)
from scalewitness_cli.commands.progress import progress
from scalewitness_cli.commands.succession import ask_to_follow, sent_again_in_words
from scalewitness_cli.commands.trusted import kept_or_usage
from scalewitness_cli.commands.unsent import NEEDING
from scalewitness_cli.feed import cursor_of
from scalewitness_cli.identity import Identity, need_identity
from scalewitness_cli.interrupts import Interrupts, heard_between_steps
from scalewitness_cli.locking import locked
from scalewitness_cli.photos import refused_files
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import UNCONFIRMED, Api, Refusal, RetryLimit, Unreachable
from scalewitness_cli.speaking import line_to
from scalewitness_cli.store import Store
from scalewitness_cli.sync import NOT_STORED, Line, Step, Synced
from scalewitness_cli.sync import sync as run


@click.command()
@click.option("--patience", "seconds", default=20.0, show_default=True,
    type=click.FloatRange(0, 3600),
    help="Seconds to keep retrying a server that does not answer.")  # fmt: skip
@click.option(
    "--follow",
    is_flag=True,
    help="Go on until Ctrl-C or SIGTERM; what changes at the server is here within a second.",
)
@server_option
@json_option
@click.pass_context
@ends_well
def sync(
    ctx: click.Context, seconds: float, follow: bool, server: str | None, as_json: bool
) -> None:
    """Send what waits and fetch what is new.

    Ends with 0 when all is well; with 1 when something needs you (a refused or conflicting
    item, an alarm about the log, a device signed out); with 3 when the server could not be
    reached or takes nothing: everything is stored, and the next sync goes on from there.
    """
    with heard_between_steps() as interrupts, opened(server) as store:
        identity = need_identity(store)
        trying = RetryLimit(seconds=seconds, asked=seconds, sleep=interrupts.sleep)
        with Api(store.url, identity.token, trying) as api, PublicLog(store.url) as log:
            there = speaking_to(identity, api, log)
            found = shown(store, watched(store, identity, there, interrupts))
            with suppress(KeyboardInterrupt):
                print_result(found, as_json, lambda: in_words(found))
                if found["succeeded"] and not as_json and sys.stdin.isatty():
                    with interrupts.waiting():
                        _offer_to_follow(store, identity, log)
                if follow and not found["alarm"]:
                    for found in _following(store, identity, there, interrupts):
                        _print_news(found, as_json)
        ctx.exit(status(found))


def _offer_to_follow(store: Store, identity: Identity, log: PublicLog) -> None:
    """Ask whoever sits there; what was lost goes with the next sync."""
    with locked(store.folder / "sync.lock"):
        lost = ask_to_follow(store, identity, log, None)
    if lost is not None:
        click.echo(sent_again_in_words(lost))


def _following(
    store: Store, identity: Identity, there: Line, interrupts: Interrupts
) -> Iterator[dict[str, Any]]:
    """A sync whenever there is something to send or to fetch, until an alarm. A server that is
    away is tried again, one that takes nothing is read meanwhile; everything is stored here."""
    send_at = 0.0
    while True:
        interrupts.look()
        began = time.monotonic()
        try:
            sending = began >= send_at
            if not _is_news(store, there.api, interrupts, sending=sending):
                _rest(store, _left(began), interrupts, sending=sending)
                continue
            with locked(store.folder / "sync.lock", interrupts.waiting()):
                at = _between_steps(interrupts)
                done = run(store, identity, there, int(time.time()), at, sending=sending)
        except Unreachable as why:
            click.echo(f"{line(str(why))} Trying again.", err=True)
            interrupts.sleep(max(_apart(), why.after or 0.0))
            continue
        yield shown(store, done)
        if done.alarm:
            return
        if done.unsent:
            send_at = time.monotonic() + max(_apart(), done.back or UNSENT_PAUSE)
        elif not (done.sent or done.pulled or done.purged):
            interrupts.sleep(_apart())


def _is_news(store: Store, api: Api, interrupts: Interrupts, *, sending: bool) -> bool:
    """Whether anything waits here or there, having waited a little for it. Others may sync
    meanwhile."""
    if sending and outbox.items(store, "waiting"):
        return True
    cursor = cursor_of(store)
    after = {"cursor": cursor} if cursor else {}
    try:
        page = api.kept_back("changes", interrupts.wait, limit="1", wait=str(WAIT), **after)
    except Refusal as refusal:
        if refusal.status == 410:  # a sync knows what to do
            return True
        raise
    return bool(page["items"] or page["more"])


def _left(began: float) -> float:
    """Seconds to let pass after an empty answer: none where the server kept it back, else as
    long as it would have, as it has no place left to wait in."""
    taken = time.monotonic() - began
    return 0.0 if taken >= WAIT - KEPT_BACK else _apart() - taken


def _apart() -> float:
    """Half as long again at most, so that many do not come back together."""
    return PAUSE * (1.0 + random.random() / 2)  # noqa: S311  no secret


def _rest(store: Store, seconds: float, interrupts: Interrupts, *, sending: bool) -> None:
    """Wait, but for nothing that is said here meanwhile."""
    until = time.monotonic() + seconds
    while (left := until - time.monotonic()) > 0:
        interrupts.sleep(min(left, LOOK))
        if sending and outbox.items(store, "waiting"):
            return


def _print_news(found: dict[str, Any], as_json: bool) -> None:
    """Nothing while nothing happens."""
    if any(found[name] for name in NEWS):
        print_result(found, as_json, lambda: in_words(found))


WAIT = 5
"""Seconds that the server keeps an answer; what is said here meanwhile waits as long."""
KEPT_BACK = 0.5
"""Seconds by which a server may answer sooner and have kept the answer back all the same."""
PAUSE = 5.0
"""Seconds before a server that is away, or has no place to wait in, is asked again."""
UNSENT_PAUSE = 60.0
"""Seconds before one that takes nothing is sent to again, where it does not say when (our
judgement: somebody has to read a letter first)."""
LOOK = 1.0
"""Seconds between looks at what is said here."""
NEWS = ("sent", "photos", "pulled", "purged", "resynced", "receipts", "unsent", "alarm", "forged")


def watched(store: Store, identity: Identity, there: Line, interrupts: Interrupts) -> Synced:
    """A sync while nobody else syncs; where somebody looks on they see how far it has come."""
    with locked(store.folder / "sync.lock", interrupts.waiting()), progress(STEPS) as far:
        at = _between_steps(interrupts)

        def show(step: str) -> None:
            far.count(step)
            at(step)

        return run(store, identity, there, int(time.time()), show)


STEPS = {"settled": "batches sent", "photo sent": "photos sent", "page stored": "pages received"}


def _between_steps(interrupts: Interrupts) -> Step:
    """An answer is stored before anybody looks whether to end."""
    return lambda step: None if step in NOT_STORED else interrupts.look()


def speaking_to(identity: Identity, api: Api, log: PublicLog) -> Line:
    """The server, held to its log where a key of that is kept here."""
    return line_to(identity, api, log, kept_or_usage())


def shown(store: Store, done: Synced) -> dict[str, Any]:
    """What a sync did, and what is left."""
    counts = outbox.counts(store)
    left = {state: counts.get(state, 0) for state in outbox.OPEN}
    counted: dict[str, Any] = msgspec.to_builtins(done)
    more = {"not_in_log": len(outbox.faults(store)), "photos_refused": refused_files(store)}
    return counted | {"left": left, **more}


def status(found: dict[str, Any]) -> int:
    """How a command ends after it."""
    left = found["left"]
    if (
        found["alarm"]
        or found["forged"]
        or found["not_in_log"]
        or any(left[state] for state in NEEDING)
    ):
        return NEEDS_YOU
    if found["unsent_code"] == UNCONFIRMED:
        return NEEDS_YOU
    return UNREACHABLE if found["unsent"] else FINE


def in_words(found: dict[str, Any]) -> str:
    """It in words."""
    left = {state: number for state, number in found["left"].items() if number}
    lines = [
        f"Sent {found['sent']}{_photos(found['photos'])}, received {found['pulled']}, "
        f"receipts {found['receipts']}.",
        *(_known_elsewhere(code) for code in found["known_elsewhere"]),
        "Everything was fetched anew." if found["resynced"] else "",
        *found["key_changes"],
        *found["remarks"],
        _number(found["proved"], "animal's record is", "animals' records are",
                f"complete and unaltered as of position {found['proved_as_of']}."),
        _number(found["recomputed"], "standing was", "standings were",
                "computed again here, with the same result."),
        _number(found["purged"], "animal is", "animals are", "no longer yours to see: removed."),
        _not_taken(found) if found["unsent"] else "",
        _number(left.get("clock", 0), "waits", "wait", "with a time for you to decide: see "
                "scalewitness unsent; then scalewitness retry --corrected, or --as-read."),
        found["clock"],
        f"Left here: {', '.join(f'{n} {state}' for state, n in left.items())}." if left else "",
        f"ALARM {found['alarm']} about the log stands: {found['unread']}. "
        "See scalewitness alarms." if found["alarm"] else "",
        _in_my_name(found),
        *_succeeded_in_words(found["succeeded"]),
        *(f"Photo {id} is not taken: {why}" for id, why in found["photos_refused"].items()),
        _number(found["not_in_log"], "accepted item is", "accepted items are",
                "NOT in the log as sent: see scalewitness unsent."),
        "" if found["checked"] or found["alarm"] else "The log was not checked: no key of it is "
        "trusted here (scalewitness trust-log KEY).",
    ]  # fmt: skip
    return "\n".join(line(one) for one in lines if one)


def _known_elsewhere(code: str) -> str:
    return (
        f"The transponder number {code} is known elsewhere: another record bore it first, so the "
        "animal you gave it to is probable at most. If you have the snake from somebody, ask them "
        "to hand its record over to you; if the number was mistyped, withdraw it on its page."
    )


def _in_my_name(found: dict[str, Any]) -> str:
    if not found["in_my_name"]:
        return ""
    counted = _number(found["in_my_name"], "fact is", "facts are", "in your name that no device "
                      "of yours is known to have signed: see scalewitness alarms.")  # fmt: skip
    return f"ALARM: {counted}" if found["forged"] else counted


def _not_taken(found: dict[str, Any]) -> str:
    if found["unsent_code"] == UNCONFIRMED:
        return (
            "The server accepts nothing from you until your e-mail address is confirmed: "
            "follow the link "
            "in the letter you were sent, then sync again. Everything is stored here. "
            f"{found['unsent']}"
        )
    return f"The server accepts nothing for now; everything is stored here. {found['unsent']}"


def _succeeded_in_words(found: dict[str, Any] | None) -> list[str]:
    if found is None:
        return []
    yours = [f"  {one['position']}: {one['what']}" for one in found["lost"]]
    return [
        found["told"],
        *(["Of yours it lost:", *yours] if yours else []),
        f"Its key: {found['key']}",
        "If somebody you trust gives you the same key: scalewitness follow-log. What was lost of "
        "yours is then sent again.",
    ]


def _photos(number: int) -> str:
    return f" and {_number(number, 'photo', 'photos', '')}".rstrip() if number else ""


def _number(number: int, one: str, more: str, rest: str) -> str:
    return f"{number} {one if number == 1 else more} {rest}" if number else ""
