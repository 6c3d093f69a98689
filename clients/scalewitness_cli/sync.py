"""A sync: send what waits, look at the log, fetch what is new, prove what was accepted.

Each step commits before the next begins, so that a crash at any point leaves nothing lost and
nothing to double: what was sent and not answered is sent again under its id.

The look at the log comes before the fetch. While an alarm stands, nothing of the feed is taken
in: the replica stays at what was seen before. Sending goes on: the outbox keeps every item with
its signature whatever the server answers, and a call that stayed here would help nobody.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.checkpoints import read_body
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness_cli.ahead import Asked
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.clock import in_words
from scalewitness_cli.collecting import seldom_collected
from scalewitness_cli.feed import PAGE, begin_again, cursor_after, cursor_of, store_page, whole_in
from scalewitness_cli.following import Announced, announced
from scalewitness_cli.identity import Identity, moment_now
from scalewitness_cli.key_following import in_words as change_in_words
from scalewitness_cli.memory import Memory
from scalewitness_cli.outbox import (
    MOST_ITEMS,
    Item,
    items,
    known_elsewhere,
    next_batch,
    settle,
    unproved,
)
from scalewitness_cli.own_word import QUIET, judge
from scalewitness_cli.photos import send_file, waiting_files
from scalewitness_cli.practitioners import fetch_names, send_names
from scalewitness_cli.readings import keep_comparison, set_aside
from scalewitness_cli.receipts import collect, trees_in
from scalewitness_cli.recomputing import SAME
from scalewitness_cli.remote import Api, Closed, Faulty, Later, Refusal, Stopped, Unreachable
from scalewitness_cli.replica import collections, put_sheets
from scalewitness_cli.sealed import newest_unproved, note_seals, prove_seals, set_alarmed
from scalewitness_cli.signin import enrol
from scalewitness_cli.store import Store
from scalewitness_cli.timeliness import PublicTimes, Wanted, watch
from scalewitness_cli.whole import Proving, Where
from scalewitness_cli.witness import Trouble, alarmed

MOST_STUCK = 3
"""Faulty items to split off in one sync before the fault is taken to be everywhere (our
judgement)."""
Step = Callable[[str], None]
"""Called with the name of each point passed: for a progress bar, or to end or crash there."""
NOT_STORED = frozenset({"answered", "fetched"})
"""Points at which the server's answer is there and not stored yet."""


def silently(step: str) -> None:
    """A step that nobody watches."""


class Synced(msgspec.Struct, kw_only=True):
    """What a sync did. ``alarm``: the id of the alarm that stands; ``checked``: whether the
    log was held to what was seen of it; ``unread``: the feed was not read, and why;
    ``unsent``: the server takes nothing for now, and why, under which ``unsent_code``, and
    when it asks to come ``back``, in seconds; ``clock``: this machine's is off, in words;
    ``succeeded``: a log that goes on from the one trusted here, to be followed or not;
    ``known_elsewhere``: transponder numbers just sent that another record bore first;
    ``in_my_name``: facts in this keeper's name that no key trusted here signed, ``forged`` those
    among them that a record keeping its rules would not have taken; ``key_changes``: of the log,
    followed just now, and ``remarks`` on how new what it shows is, in words;
    ``proved``: animals whose record is whole and unaltered ``proved_as_of`` a position;
    ``recomputed``: of how many the standing was computed again here, with the same result."""

    sent: int = 0
    photos: int = 0
    pulled: int = 0
    purged: int = 0
    resynced: bool = False
    checked: bool = False
    alarm: str | None = None
    receipts: int = 0
    faulty: list[str] = []
    unread: str | None = None
    unsent: str | None = None
    unsent_code: str = ""
    back: float | None = None
    clock: str = ""
    succeeded: Announced | None = None
    proved: int = 0
    proved_as_of: int | None = None
    recomputed: int = 0
    known_elsewhere: list[str] = []
    in_my_name: int = 0
    forged: int = 0
    key_changes: list[str] = []
    remarks: list[str] = []


class Line(msgspec.Struct, frozen=True):
    """What a sync speaks to: the API as this device, the public log, and the trusted keys and
    memory of it; ``memory`` None: no key of the log is trusted here. ``wanted``: of how many of
    the ``witnesses`` it is asked to have looked."""

    api: Api
    log: PublicTimes
    memory: Memory | None
    keys: Sequence[VerifierKey]
    wanted: Wanted | None = None
    witnesses: Sequence[VerifierKey] = ()


@seldom_collected()
def sync(
    store: Store,
    identity: Identity,
    line: Line,
    now: int,
    at: Step = silently,
    *,
    sending: bool = True,
) -> Synced:
    """One sync. ``now``: Unix seconds, for an alarm. Unless ``sending``, what waits goes on
    waiting.

    Raises:
        Unreachable: what is not sent yet stays stored, what was fetched is kept.
        Refusal: the server does not know this device any more.
        Stopped: something here is damaged.
    """
    done = Synced()
    at("begin")
    if sending:
        identity = _send(store, identity, line.api, done, at)
    note_seals(store, identity)
    line = _check_log(store, identity, line, now, done)
    at("looked")
    if done.alarm is not None:
        done.unread = "an alarm stands: nothing new is taken in until it is looked into"
        return done
    proving = _proving(store, identity, line, now)
    pull(store, line.api, done, at, proving)
    found = judge(store, identity)
    done.in_my_name = len([one for one in found if one.why != QUIET])
    done.forged = len([one for one in found if one.alarms])
    done.clock = in_words(keep_comparison(store, line.api))
    _prove(store, identity, line, done)
    at("receipts stored")
    _prove_seals(store, line, now, done)
    if done.alarm is None:
        _prove_records(store, line.api, proving, done)
    at("records proved")
    return done


def _send(store: Store, identity: Identity, api: Api, done: Synced, at: Step) -> Identity:
    """All that waits; the identity as it is now. A server that takes nothing for now can
    still be read."""
    try:
        identity = enrol(store, identity, api)
        set_aside(store, api)
        send_names(store, api)
        began = rfc3339(moment_now())
        done.sent = push(store, api, at)
        done.known_elsewhere = known_elsewhere(store, began)
        done.photos = _send_photos(store, api, at)
    except Closed as why:
        done.unsent, done.unsent_code = str(why), why.code
    except Later as why:
        done.unsent, done.back = str(why), why.after
    return identity


def push(store: Store, api: Api, at: Step = silently) -> int:
    """Send everything that waits, and ask after what is held; how many were settled.

    Raises:
        Faulty: the server fails at some of it each time; all the rest was sent.
    """
    held = items(store, "held")[:MOST_ITEMS]
    settled, stuck = 0, Stuck()
    while batch := next_batch(store, stuck.numbers):
        settled += _push_around(store, api, batch, at, stuck)
    if held:
        _push(store, api, held, at)
    if stuck.fault is not None and stuck.numbers:
        raise stuck.fault
    return settled


@dataclass
class Stuck:
    """Items the server fails at each time, by their numbers, and what it said."""

    numbers: set[int] = field(default_factory=set)
    fault: Faulty | None = None


def _push_around(
    store: Store, api: Api, batch: list[Item], at: Step, stuck: Stuck, *, patient: bool = True
) -> int:
    """Send a batch; where the server fails at it, in halves, down to the items it fails at.

    Raises:
        Faulty: it fails at :data:`MOST_STUCK`, and so likely at everything.
    """
    try:
        return _push(store, api, batch, at, patient=patient)
    except Faulty as fault:
        stuck.fault = fault
        if len(batch) > 1:
            half = len(batch) // 2
            parts = (batch[:half], batch[half:])
            return sum(_push_around(store, api, one, at, stuck, patient=False) for one in parts)
        stuck.numbers.add(batch[0].seq)
        if len(stuck.numbers) == MOST_STUCK:
            raise
        return 0


def _send_photos(store: Store, api: Api, at: Step) -> int:
    """Send the files whose facts are in; how many went."""
    due = waiting_files(store)
    for id in due:
        send_file(store, api, id)
        at("photo sent")
    return len(due)


def _push(store: Store, api: Api, batch: list[Item], at: Step, *, patient: bool = True) -> int:
    at("sending")
    outcomes = api.outcomes([one.sent for one in batch], patient=patient)
    at("answered")
    settle(store, batch, outcomes, rfc3339(moment_now()))
    at("settled")
    still = {one.id for one in items(store, "waiting")}
    done = [one for one in batch if one.id not in still]
    if not done:
        raise Stopped(
            "The server accepts none of it and gives no reason that this version understands."
        )
    return len(done)


def pull(
    store: Store, api: Api, done: Synced, at: Step = silently, proving: Proving | None = None
) -> None:
    """Fetch the feed to its end, then visits and sheets, and whom one may report. ``proving``: what
    comes whole is held to the log while more of it is fetched."""
    try:
        _pull_feed(store, api, done, at, proving)
    except Refusal as refusal:
        if refusal.status != 410:
            raise
        begin_again(store)
        done.resynced = True
        at("begun again")
        _pull_feed(store, api, done, at, proving)
    _pull_sheets(store, api)
    fetch_names(store, api)
    at("sheets stored")


def _pull_feed(store: Store, api: Api, done: Synced, at: Step, proving: Proving | None) -> None:
    cursor = cursor_of(store)
    coming: Asked | None = Asked(api, "changes", _after(cursor))
    while coming is not None:
        page: dict[str, Any] = coming.answer()
        at("fetched")
        following = cursor_after(page)
        if following is not None and following == cursor:
            raise Unreachable(f"{store.url} says there is more and gives the same place.")
        coming = Asked(api, "changes", _after(following)) if following else None
        done.purged += store_page(store, page)
        done.pulled += len(page["items"])
        at("page stored")
        if proving is not None and coming is not None:
            proving.begin(whole_in(page))
        cursor = following


def _after(cursor: str | None) -> dict[str, str]:
    return {"limit": str(PAGE)} | ({"cursor": cursor} if cursor else {})


def _pull_sheets(store: Store, api: Api) -> None:
    """Visits, and the sheets of those one is a guest on: also of those that open later, as
    there may be no signal then."""
    visits = api.get("visits")["items"]
    mine = {id for id, one in collections(store).items() if one["role"] != "viewer"}
    sheets: dict[str, dict[str, Any]] = {"open": {}, "accepted": {}}
    for visit in visits:
        if visit["state"] in sheets and visit["collection"]["id"] not in mine:
            found = _sheet(api, visit["id"])
            if found is not None:
                rows = found["animals"]
                if found["visit"]["state"] == "open":  # what was checked before may be noted yet
                    rows = [*rows, *(found.get("held_off") or ())]
                sheets[found["visit"]["state"]][visit["id"]] = rows
                visit.update({name: found.get(name) for name in ("held_off", "notice")})
    put_sheets(store, visits, sheets["open"], sheets["accepted"])


def _sheet(api: Api, visit: str) -> dict[str, Any] | None:
    """None where the server gives it to nobody now: it ended meanwhile, or is an earlier
    server, which gives none before a visit opens."""
    try:
        found: dict[str, Any] | None = api.known(f"visits/{visit}/sheet")
    except Refusal as refusal:
        if refusal.status != 409:
            raise
        return None
    return found


def _check_log(store: Store, identity: Identity, line: Line, now: int, done: Synced) -> Line:
    """Have the log vouch for the newest that was accepted, and look at it. The line is given back
    with the keys that the log was followed to."""
    if line.memory is None:
        return line
    kept = line.memory.kept()
    since = read_body(kept.text).size if kept else 0
    newest = [(one.position or 0, one.id) for one in unproved(store, since)[-1:]]
    if sealed := newest_unproved(store, since):
        newest.append(sealed)
    if newest:
        line.api.have_vouched(max(newest)[1])
    origin = line.memory.origin
    known = lambda: trees_in(store, origin)  # noqa: E731  asked for when it is needed
    watched = watch(
        line.memory,
        line.log,
        line.keys,
        now,
        known=known,
        wanted=line.wanted,
        witnesses=line.witnesses,
    )
    seen, done.remarks = watched.seen, watched.remarks
    if isinstance(seen, Alarm):
        done.alarm = seen.id
        done.succeeded = announced(store, identity, line.memory, line.log, line.keys)
    else:
        done.checked = True
        done.key_changes = [change_in_words(one) for one in seen.changes]
    return msgspec.structs.replace(line, keys=line.memory.keys(line.keys))


def _prove(store: Store, identity: Identity, line: Line, done: Synced) -> None:
    kept = line.memory.kept() if line.memory else None
    if kept is not None:
        found = collect(store, identity, line.log, kept, line.keys)
        done.receipts, done.faulty = found.held, found.faulty


def _prove_seals(store: Store, line: Line, now: int, done: Synced) -> None:
    kept = line.memory.kept() if line.memory else None
    if line.memory is None or kept is None:
        return
    if broken := prove_seals(store, line.api, line.log, kept, line.keys):
        trouble = Trouble("seal_broken", f"{'; '.join(broken)}.")
        with line.memory.alone():
            done.alarm = alarmed(line.memory, line.log.url, kept, kept, trouble, now).id
        set_alarmed(store)
        done.unread = "what the server says of a late call does not hold"


def _proving(store: Store, identity: Identity, line: Line, now: int) -> Proving | None:
    if line.memory is None or line.memory.kept() is None:
        return None
    return Proving(store, identity, Where(line.api, line.log, line.memory, line.keys), now)


def _prove_records(store: Store, api: Api, proving: Proving | None, done: Synced) -> None:
    if proving is None:
        return
    found = proving.finish(lambda: pull(store, api, done))
    if found.alarm is not None:
        done.alarm = found.alarm.id
        done.unread = "what the server shows does not hold"
    else:
        done.proved, done.proved_as_of = found.animals, found.position
        done.recomputed = sum(why == SAME for why in found.computed.values())
