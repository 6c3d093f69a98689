"""Holding what is shown about each animal to the log: these entries, all of them and no others.

After each fetch the server is asked for each animal's place in the map of subjects
(``domain/translog/record_map``), whose root is the last entry of the signed tree. The entries come
from the replica here, so that what does not fit is what would be shown. Of an animal that one may
not see any more, but registered or checked, the hashes of all its entries come, and one's own must
be among them.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, TypeAlias

import msgspec

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.record_map import Link, NotShown
from scalewitness.domain.translog.stated_map import certified_key, map_in
from scalewitness.domain.translog.vrf import VrfKey, read_key
from scalewitness_cli import replica
from scalewitness_cli.ahead import Asked, answers
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.identity import Identity
from scalewitness_cli.memory import Memory
from scalewitness_cli.one_record import (
    MALFORMED,
    Answer,
    opening_of,
    require_agreed,
    require_own,
    require_record,
    require_seals,
    where_amiss,
)
from scalewitness_cli.outbox import Item, items
from scalewitness_cli.recomputing import beside_in, computed_again, entries_here
from scalewitness_cli.remote import Api, Refusal, Stopped
from scalewitness_cli.sealed import links_of
from scalewitness_cli.store import Store, keep
from scalewitness_cli.witness import Log, Trouble, alarmed, look

AT_ONCE = 100
ATTEMPTS = 3
"""How often an animal is fetched and asked for anew before its record is taken to be false: what
came in between the two is in the one and not in the other."""
THOROUGH_EVERY = 600
"""Seconds after which all animals are asked for again, also those of which nothing new came: an
entry that is kept back changes nothing here (our judgement)."""
OWN_WORD = ("animal_registered", "call_made")
Records: TypeAlias = Mapping[str, replica.Record]
Own: TypeAlias = Mapping[str, Sequence[Item]]
"""Accepted facts of one's own, by the animal."""


@dataclass(slots=True)
class Proved:
    """``position``: of the entry that states the map; ``animals``: how many were proved as of it;
    ``unshown``: ids of those that the server shows no proof of, and may not have to; ``computed``:
    of each animal proved, what `computed_again` says."""

    position: int | None = None
    animals: int = 0
    unshown: list[str] = field(default_factory=list)
    computed: dict[str, str | None] = field(default_factory=dict)
    alarm: Alarm | None = None


@dataclass(frozen=True, slots=True)
class Where:
    """What is asked and held to: the API and the public log, and what is remembered of it."""

    api: Api
    log: Log
    memory: Memory
    keys: Sequence[VerifierKey]


class Proving:
    """Holding all that is here to the log, in the course of one sync. ``now``: Unix seconds, for an
    alarm."""

    def __init__(self, store: Store, identity: Identity, where: Where, now: int) -> None:
        self._store, self._identity, self._where, self._now = store, identity, where, now
        self._own, self._before = _own(store), _kept(store)  # nothing is sent meanwhile
        self._thorough = now - self._before.at >= THOROUGH_EVERY
        self._found: dict[str, tuple[str, int]] = {}
        self._begun: list[tuple[Records, Asked]] = []
        self._done = Proved()

    def begin(self, records: Records) -> None:
        """Ask for the proofs of records that were stored just now, while more is fetched, and check
        those that were asked for before. What does not fit yet is asked for again at the end."""
        before = self._begun
        self._begun = [
            ({id: records[id] for id in batch}, Asked(self._where.api, "proofs", _question(batch)))
            for batch in _batches(list(records))
        ]
        for batch, asked in before:
            with suppress(Stopped, Refusal):
                if self._done.alarm is None and (answer := asked.at_once()) is not None:
                    self._prove_batch(batch, answer)

    def finish(self, fetch: Callable[[], None]) -> Proved:
        """``fetch`` brings what is new into the replica.

        Raises:
            Unreachable, Refusal: the server does not answer.
            Stopped: the log cannot be read.
        """
        self.begin({})
        self._done.unshown.clear()
        done, wanted, failed = self._done, dict[str, str](), dict[str, str]()
        for attempt in range(ATTEMPTS):
            if attempt:
                fetch()
            wanted = _wanted(self._store, self._own)
            failed = self._prove([id for id, state in wanted.items() if not self._has(id, state)])
            if done.alarm is not None:
                return done
            if not failed:
                break
        if failed:
            done.alarm = _alarmed(self._where, failed, self._now)
            return done
        self._keep(wanted)
        done.animals = len(self._found)
        return done

    def _has(self, id: str, state: str) -> bool:
        """Whether the animal was found whole as it is here now, lately enough."""
        if id in self._found:
            return self._found[id][0] == state
        return id in self._done.unshown or (not self._thorough and self._before.has(id, state))

    def _prove(self, due: Sequence[str]) -> dict[str, str]:
        """Why not, by the animals whose record does not hold."""
        failed, batches = dict[str, str](), list(_batches(due))
        coming = answers(self._where.api, "proofs", map(_question, batches))
        for batch, answer in zip(batches, coming, strict=True):
            failed |= self._prove_batch(replica.records(self._store, batch), answer)
            if self._done.alarm is not None:
                break
        return failed

    def _prove_batch(self, batch: Records, answer: Mapping[str, Any]) -> dict[str, str]:
        try:
            shown = self._shown(answer)
        except MALFORMED as fault:
            return dict.fromkeys(batch, f"{fault}")
        if shown is None:
            return {}
        failed, sealed = dict[str, str](), links_of(self._store)
        for id, (seen, kept) in batch.items():
            if seen is None and id not in shown.proofs:
                self._done.unshown.append(id)
                continue
            try:
                self._prove_one(id, seen, kept, sealed.get(id, ()), shown)
            except MALFORMED as fault:
                facts = [one.shown for one in kept]
                failed[id] = f"{fault}{where_amiss(self._where.log, facts, shown.head)}"
        self._done.position = shown.head.size - 1
        return failed

    def _prove_one(
        self,
        id: str,
        seen: replica.Shown | None,
        kept: Sequence[replica.KeptFact],
        sealed: Sequence[Link],
        shown: Answer,
    ) -> None:
        """Raises NotShown, ValueError, KeyError, TypeError: its record does not hold."""
        opening, size = opening_of(shown.proofs.get(id)), shown.head.size
        facts = [one.shown for one in kept]
        require_record(id, kept, opening, shown)
        require_seals(sealed, facts, opening, size)
        if seen is None:
            own = self._own.get(id, ())
            require_own(own, self._identity, opening, size)
            state = _out_of_sight(own)
        else:
            require_agreed(seen, facts, opening)
            entries = entries_here(self._store, facts, opening, shown.beside, shown.proofs[id])
            self._done.computed[id] = computed_again(seen, entries, size)
            state = _as_here(seen, len(facts), facts[-1]["position"] if facts else None)
        self._found[id] = (state, size - 1)

    def _shown(self, answer: Mapping[str, Any]) -> Answer | None:
        """None: the log itself does not hold, and there is an alarm.

        Raises:
            NotShown, ValueError, KeyError, TypeError: the answer does not show it.
        """
        where, note = self._where, read_note(str(answer["checkpoint"]))
        found = look(where.memory, where.log, where.keys, self._now, shown=note)
        if isinstance(found, Alarm):
            self._done.alarm = found
            return None
        root, key_hash = map_in(answer["map"], found.head)
        key, beside = _key(self._store, where, key_hash), beside_in(answer, found.head)
        return Answer(found.head, root, key, beside, {one["id"]: one for one in answer["animals"]})

    def _keep(self, wanted: Mapping[str, str]) -> None:
        """Those found whole as they are here now."""
        before, found = self._before, dict[str, tuple[str, int]]()
        for id, state in wanted.items():
            last = self._found.get(id) or before.animals.get(id)
            if id not in self._done.unshown and last is not None and last[0] == state:
                found[id] = last
        whys = (before.computed | self._done.computed).items()
        computed = {id: why for id, why in whys if id in found}
        at = self._now if self._thorough else before.at
        kept = msgspec.json.encode(_Kept(at, found, computed)).decode()
        with self._store.change() as connection:
            keep(connection, "proved", kept)


def _wanted(store: Store, own: Own) -> dict[str, str]:
    """Animals seen whole, and those out of sight that one's own word is about; each with what its
    proof depends on here."""
    here = {one["id"]: one for one in replica.animals(store)}
    sql = "SELECT about, count(*) AS facts, max(position) AS last FROM fact GROUP BY about"
    facts = {row["about"]: (row["facts"], row["last"]) for row in store.rows(sql)}
    whole = {id: one for id, one in here.items() if one.get("sight") == "all"}
    found = {id: _as_here(one, *facts.get(id, (0, None))) for id, one in whole.items()}
    return found | {id: _out_of_sight(own[id]) for id in own if id not in here}


def _as_here(seen: replica.Shown, facts: int, last: int | None) -> str:
    """What the proof of an animal depends on: as it is shown, with so many facts, and where the
    last of them is."""
    return _digest(((facts, last), seen))


def _out_of_sight(own: Iterable[Item]) -> str:
    """The same of an animal out of sight."""
    return _digest([one.id for one in own])


def _digest(what: Any) -> str:
    return sha256(msgspec.json.encode(what)).hexdigest()[:16]


def _own(store: Store) -> Own:
    found: dict[str, list[Item]] = {}
    for one in items(store, "accepted"):
        if one.what == "fact" and one.sent["kind"] in OWN_WORD and one.position is not None:
            found.setdefault(one.sent["about"], []).append(one)
    return found


def _batches(ids: Sequence[str]) -> Iterable[list[str]]:
    return (list(ids[start : start + AT_ONCE]) for start in range(0, len(ids), AT_ONCE))


def _question(batch: Sequence[str]) -> dict[str, str]:
    return {"animals": ",".join(batch), "rested_on": "yes"}


def _key(store: Store, where: Where, stated: bytes) -> VrfKey:
    """The map's key, which never changes while the log keeps its name.

    Raises:
        NotShown: another is stated than before, or it is not shown to be good.
    """
    name = f"map_key {where.memory.origin}"
    if (kept := store.kept(name)) is not None:
        key = read_key(decode64(kept))
        if key.hash != stated:
            raise NotShown("the key that the map is made with is another than before")
        return key
    shown = where.api.get("log/map-key")
    key = certified_key(shown, stated)
    with store.change() as connection:
        keep(connection, name, shown["modulus"])
    return key


def _alarmed(where: Where, failed: Mapping[str, str], now: int) -> Alarm:
    kept = where.memory.kept()
    assert kept is not None  # noqa: S101  the checkpoint of an answer was kept before it was used
    text = "; ".join(f"animal {id}: {why}" for id, why in sorted(failed.items()))
    with where.memory.alone():
        return alarmed(
            where.memory, where.log.url, kept, kept, Trouble("not_whole", f"{text}."), now
        )


class _Kept(msgspec.Struct):
    """When all was last asked for (Unix seconds), and of each animal found whole its state then and
    the position as of which it was; and what came of computing its standing again."""

    at: int = 0
    animals: dict[str, tuple[str, int]] = {}
    computed: dict[str, str | None] = {}

    def has(self, id: str, state: str) -> bool:
        """Whether the animal was found whole as it is here now."""
        return self.animals.get(id, ("", 0))[0] == state


def _kept(store: Store) -> _Kept:
    kept = store.kept("proved")
    return msgspec.json.decode(kept, type=_Kept) if kept else _Kept()


class ProvedAnimal(msgspec.Struct, frozen=True):
    """The position as of which all that is here of an animal was last found whole, and what
    `computed_again` said of its standing."""

    as_of: int
    standing: str | None


def proved(store: Store, animal: str) -> ProvedAnimal | None:
    """None: it changed since, or never was found whole."""
    kept, state = _kept(store), _wanted(store, {}).get(animal)
    if state is None or not kept.has(animal, state):
        return None
    return ProvedAnimal(kept.animals[animal][1], kept.computed.get(animal))
