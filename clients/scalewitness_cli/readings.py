"""The readings of this machine's clock that what was said here rests on.

A check noted now has the time that this machine's clock says. Whether that is right shows at
the next contact with the server at the latest. Until its keeper has decided what to do about
one that is not, the item waits; what was typed is kept whatever comes.
"""

import sqlite3
from collections.abc import Iterable
from datetime import datetime

import msgspec

from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness_cli.clock import (
    RIGHT,
    Compared,
    Reading,
    Verdict,
    correction,
    judged,
    moment,
    read_clock,
    time_by,
)
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.outbox import Item, items, set_state
from scalewitness_cli.remote import Api
from scalewitness_cli.store import Store, keep

_NAME = "clock"


class Noted(msgspec.Struct, frozen=True):
    """A reading with what had been compared ``before`` it; ``decided``: the keeper wants it
    sent as it is; ``verdict`` of the last contact."""

    reading: Reading
    before: Compared | None = None
    decided: bool = False
    verdict: Verdict = RIGHT


def kept_comparison(store: Store) -> Compared | None:
    """The last one with this server."""
    found = store.kept(_NAME)
    return msgspec.json.decode(found, type=Compared) if found else None


def now_by(store: Store) -> datetime:
    """What time it most likely is, as far as this server told."""
    return time_by(read_clock(), kept_comparison(store))


def keep_comparison(store: Store, api: Api) -> Verdict:
    """Keep what the last answer told of the time; what is to say of the clock now."""
    if api.compared is None:
        return RIGHT
    with store.change() as connection:
        keep(connection, _NAME, msgspec.json.encode(api.compared).decode())
    return judged(api.compared.here, None, api.compared)


def keep_readings(connection: sqlite3.Connection, ids: Iterable[str], noted: Noted) -> None:
    """Within a change: what the times of these items were read from."""
    text = msgspec.json.encode(noted).decode()
    connection.executemany(
        "INSERT OR REPLACE INTO reading VALUES (?, ?)", [(id, text) for id in ids]
    )


def reading_of(store: Store, id: str) -> Noted | None:
    found = store.rows("SELECT content FROM reading WHERE id = ?", id)
    return msgspec.json.decode(found[0]["content"], type=Noted) if found else None


def set_aside(store: Store, api: Api) -> int:
    """Before anything is sent: compare the clocks, and set aside what was noted by one that
    was off, or may have been, for its keeper to decide on; how many that were."""
    noted = {one.id: found for one in items(store, "waiting") if (found := _open(store, one))}
    if not noted:
        return 0
    if api.compared is None:
        api.get("keepers/me")
    verdicts = {id: judged(one.reading, one.before, api.compared) for id, one in noted.items()}
    wrong = {id: one for id, one in verdicts.items() if one.state != "right"}
    with store.change() as connection:
        for id, verdict in wrong.items():
            keep_readings(connection, [id], msgspec.structs.replace(noted[id], verdict=verdict))
            set_state(connection, id, "clock")
    return len(wrong)


def _open(store: Store, item: Item) -> Noted | None:
    """The reading of an item that nothing is decided about and that nobody was sent."""
    is_done = item.attempted or "corrected" in item.said.get("body", {})
    found = None if is_done else reading_of(store, item.id)
    return None if found is None or found.decided else found


def verdict_on(store: Store, item: Item) -> Verdict:
    """What is known of the time of an item, by now."""
    noted = reading_of(store, item.id)
    if noted is None or "corrected" in item.said.get("body", {}):
        return RIGHT
    if noted.verdict.state != "right":
        return noted.verdict
    return judged(noted.reading, noted.before, kept_comparison(store))


def together(store: Store, item: Item) -> list[Item]:
    """The item and what was noted with it, by the same reading of the clock."""
    noted = reading_of(store, item.id)
    if noted is None:
        return [item]
    beside = items(store, "waiting", "clock", "refused")
    found = [one for one in beside if one.id != item.id and one.about == item.about]
    same = [one for one in found if _same(reading_of(store, one.id), noted)]
    return [item, *same]


def _same(one: Noted | None, other: Noted) -> bool:
    return one is not None and one.reading == other.reading


def as_corrected(stated: Fact, verdict: Verdict) -> Fact:
    """The fact at the time put right, with what the clock said, the offset and when it was
    measured."""
    read = parse_moment(stated["at"])
    at = rfc3339(moment(read.timestamp() + verdict.offset))
    body = stated["body"] | {"corrected": correction(rfc3339(read), verdict)}
    return stated | {"at": at, "body": body}


def decide(store: Store, ids: Iterable[str]) -> None:
    """Their keeper has decided: nothing more is asked about their times."""
    with store.change() as connection:
        for id in ids:
            noted = reading_of(store, id)
            if noted is not None:
                keep_readings(connection, [id], msgspec.structs.replace(noted, decided=True))
