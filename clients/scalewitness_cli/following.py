"""Going on with the log that a closed one became, once a keeper says so.

What was seen of the old one stays: its checkpoint, its alarms, the receipts. What it lost of
this keeper's is offered again under its ids.
"""

from collections.abc import Sequence
from pathlib import Path

import msgspec

from scalewitness.domain.fact_words import in_words as fact_in_words
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.successions import BadSuccession
from scalewitness.domain.translog.tiles import nodes_in
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness_cli.alarms import proves_fault
from scalewitness_cli.identity import Identity
from scalewitness_cli.memory import Memory
from scalewitness_cli.outbox import Item, items, offer_again, resign
from scalewitness_cli.receipts import entries_of, trees_in
from scalewitness_cli.remote import Stopped
from scalewitness_cli.signin import hold_to
from scalewitness_cli.store import Store
from scalewitness_cli.succession import Succeeded, in_words
from scalewitness_cli.witness import Log, note_of, successor


def found_successor(
    store: Store, memory: Memory, log: Log, keys: Sequence[VerifierKey]
) -> Succeeded:
    """The log that the server shows, proved to go on from the one trusted here.

    Raises:
        Stopped: it is not, or could not be read.
    """
    shown = note_of(log)
    try:
        return successor(memory, log, keys, shown, lambda: trees_in(store, memory.origin))
    except BadSuccession as fault:
        raise Stopped(f"No log that goes on from {memory.origin} is shown: {fault}.") from None


def lost_items(store: Store, identity: Identity, log: Log, found: Succeeded) -> list[Item]:
    """What this keeper said here, the old log had accepted, and the new one has not."""
    node = nodes_in(log.tile, found.head.size)
    facts = [one for one in items(store, "accepted") if one.what == "fact"]
    return [
        one
        for one in facts
        if one.position is not None
        and one.position >= found.kept
        and not (
            one.position < found.head.size
            and node(0, one.position) in map(leaf_hash, entries_of(one, identity))
        )
    ]


class LostItem(msgspec.Struct, frozen=True):
    id: str
    position: int | None
    what: str


class Announced(msgspec.Struct, frozen=True):
    """A log that may be followed, in words, its key, and what of this keeper's it lost."""

    log: str
    key: str
    told: str
    lost: list[LostItem]


def announced(
    store: Store, identity: Identity, memory: Memory, log: Log, keys: Sequence[VerifierKey]
) -> Announced | None:
    """The log that the server shows, if it is proved to go on from the one trusted here."""
    try:
        found = found_successor(store, memory, log, keys)
        lost = lost_items(store, identity, log, found)
    except (Stopped, ValueError):
        return None
    return Announced(found.key.name, str(found.key), in_words(found), list(map(_lost_item, lost)))


def _lost_item(item: Item) -> LostItem:
    return LostItem(item.id, item.position, fact_in_words(item.sent["kind"], item.sent["body"]))


def follow(
    store: Store,
    identity: Identity,
    memory: Memory,
    log: Log,
    found: Succeeded,
    file: Path,
    now: int,
) -> list[Item]:
    """Hold the server to the new log from now on and offer again what was lost, which is
    returned. Alarms are set aside, but for those that prove a fault of the old log. Repeated
    after a crash it comes to the same. ``now``: Unix seconds; ``file``: that of trusted keys."""
    keys = [one.old for one in found.steps]
    anew = Memory(memory.folder.parent.parent, found.key.name)
    with anew.alone():
        if anew.kept() is None:
            anew.keep(found.note)
    lost = lost_items(store, identity, log, found)
    offer_again(store, lost, memory.origin)
    resign(store, identity.key)  # what another device signed, its keeper having signed in anew
    # The device's key may be among what was lost: made known again, it comes to the same.
    hold_to(store, msgspec.structs.replace(identity, enrolled=False), found.key, file)
    with memory.alone():
        for alarm in (one for one in memory.alarms() if not proves_fault(one, keys)):
            memory.acknowledge(alarm, f"followed to {found.key.name}", now, start_over=False)
    return lost
