"""Holding what is shown about each animal to the log: these entries, all of them and no others.

After each fetch the server is asked for each animal's place in the map of subjects
(``domain/translog/record_map``), whose root is the last entry of the signed tree. The entries come
from the replica here, so that what does not fit is what would be shown. Of an animal that one may
not see any more, but registered or checked, the hashes of all its entries come, and one's own must
be among them.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, TypeAlias
from uuid import UUID

import msgspec

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.canonical import canonical_bytes
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.record_map import Link, NotShown, Opening, require_whole
from scalewitness.domain.translog.tiles import nodes_in
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.domain.translog.vrf import VrfKey, read_key
from scalewitness_cli import replica
from scalewitness_cli.agreeing import amiss
from scalewitness_cli.ahead import answers
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.identity import Identity
from scalewitness_cli.memory import Memory
from scalewitness_cli.outbox import Item, items
from scalewitness_cli.receipts import entries_of
from scalewitness_cli.recomputing import Beside, beside_in, computed_again, entries_here
from scalewitness_cli.remote import Api
from scalewitness_cli.sealed import links_of
from scalewitness_cli.stating import certified_key, map_in, opening_in
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
MALFORMED = (ValueError, KeyError, TypeError)
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


def prove(
    store: Store, identity: Identity, where: Where, now: int, fetch: Callable[[], None]
) -> Proved:
    """Hold all that is here to the log. ``fetch`` brings what is new into the replica; ``now``:
    Unix seconds, for an alarm.

    Raises:
        Unreachable, Refusal: the server does not answer.
        Stopped: the log cannot be read.
    """
    own, before, done = _own(store), _kept(store), Proved()  # nothing is sent meanwhile
    wanted = _wanted(store, own)
    thorough = now - before.at >= THOROUGH_EVERY
    changed = {id for id, state in wanted.items() if thorough or not before.has(id, state)}
    due, failed = changed, dict[str, str]()
    for attempt in range(ATTEMPTS):
        if attempt:
            fetch()
            wanted = _wanted(store, own)
        asked = [id for id in wanted if id in due]
        failed = {}
        batches = list(_batches(asked))
        questions = ({"animals": ",".join(batch), "rested_on": "yes"} for batch in batches)
        coming = answers(where.api, "proofs", questions)
        for batch, answer in zip(batches, coming, strict=True):
            failed |= _prove_batch(store, identity, where, batch, answer, own, now, done)
            if done.alarm is not None:
                return done
        if not failed:
            break
        due = set(failed)
    if failed:
        done.alarm = _alarmed(where, failed, now)
        return done
    kept = {
        id: (state, done.position or 0) if id in changed else before.animals[id]
        for id, state in wanted.items()
        if id not in done.unshown and (id in changed or before.has(id, state))
    }
    computed = {id: why for id, why in (before.computed | done.computed).items() if id in kept}
    _keep(store, _Kept(now if thorough else before.at, kept, computed))
    return done


def _wanted(store: Store, own: Own) -> dict[str, str]:
    """Animals seen whole, and those out of sight that one's own word is about; each with what its
    proof depends on here."""
    here = {one["id"]: one for one in replica.animals(store)}
    sql = "SELECT about, count(*) AS facts, max(position) AS last FROM fact GROUP BY about"
    facts = {row["about"]: (row["facts"], row["last"]) for row in store.rows(sql)}
    whole = {id: one for id, one in here.items() if one.get("sight") == "all"}
    found = {id: _digest((facts.get(id), one)) for id, one in whole.items()}
    gone = {id: own[id] for id in own if id not in here}
    return found | {id: _digest([one.id for one in listed]) for id, listed in gone.items()}


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


def _prove_batch(
    store: Store,
    identity: Identity,
    where: Where,
    batch: Sequence[str],
    answer: Mapping[str, Any],
    own: Own,
    now: int,
    done: Proved,
) -> dict[str, str]:
    """Why not, by the animals whose record does not hold."""
    try:
        shown = _shown(answer, store, where, now, done)
    except MALFORMED as fault:
        return dict.fromkeys(batch, f"{fault}")
    if shown is None:
        return {}
    failed, sealed, size = dict[str, str](), links_of(store), shown.head.size
    about = replica.facts_of_each(store, batch)
    for id in batch:
        seen, proof = replica.animal(store, id), shown.proofs.get(id)
        if proof is None and seen is None:
            done.unshown.append(id)
            continue
        facts = about[id] if seen else []
        try:
            opening = _opening(proof)
            require_whole(UUID(id), _links(facts, size), opening, shown.root, shown.key)
            _require_seals(sealed.get(id), facts, opening, size)
            if seen is not None:
                _require_agreed(seen, facts, opening)
                entries = entries_here(store, facts, opening, shown.beside, proof)
                done.computed[id] = computed_again(seen, entries, size)
            else:
                _require_own(own.get(id, []), identity, opening, size)
        except MALFORMED as fault:
            failed[id] = f"{fault}{_named(where, facts, shown.head)}"
    done.animals += len(set(batch) - set(failed) - set(done.unshown))
    done.position = size - 1
    return failed


@dataclass(frozen=True, slots=True)
class _Answer:
    """What holds of an answer of proofs for all its animals: the tree signed, the map's root and
    key, and the entries ``beside`` that standings rest on; and each animal's proof, unverified."""

    head: Checkpoint
    root: bytes
    key: VrfKey
    beside: Beside
    proofs: dict[str, Mapping[str, Any]]


def _shown(
    answer: Mapping[str, Any], store: Store, where: Where, now: int, done: Proved
) -> _Answer | None:
    """None: the log itself does not hold, and ``done`` has the alarm.

    Raises:
        NotShown, ValueError, KeyError, TypeError: the answer does not show it.
    """
    note = read_note(str(answer["checkpoint"]))
    found = look(where.memory, where.log, where.keys, now, shown=note)
    if isinstance(found, Alarm):
        done.alarm = found
        return None
    root, key_hash = map_in(answer["map"], found.head)
    key, beside = _key(store, where, key_hash), beside_in(answer, found.head)
    return _Answer(found.head, root, key, beside, {one["id"]: one for one in answer["animals"]})


def _opening(proof: Mapping[str, Any] | None) -> Opening:
    if proof is None:
        raise NotShown("the server shows no proof of it")
    return opening_in(proof)


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


def _links(facts: Iterable[Mapping[str, Any]], size: int) -> list[Link]:
    return [
        Link(fact["position"], leaf_hash(canonical_bytes(fact["entry"])))
        for fact in facts
        if fact["position"] < size
    ]


def _require_own(own: Sequence[Item], identity: Identity, opening: Opening, size: int) -> None:
    """See that what one said oneself is among entries of which only hashes are shown.

    Raises:
        NotShown: it is not.
    """
    there = set(opening.hidden)
    for one in own:
        assert one.position is not None  # noqa: S101  only accepted ones are asked about
        forms = (Link(one.position, leaf_hash(entry)) for entry in entries_of(one, identity))
        if one.position < size and not any(form in there for form in forms):
            raise NotShown(f"what you said at position {one.position} is not on its record")


def _require_seals(
    sealed: Iterable[Link] | None, facts: Iterable[Mapping[str, Any]], opening: Opening, size: int
) -> None:
    """See that the entries that seal one's own late calls are on the animal's record.

    Raises:
        NotShown: one is not.
    """
    if sealed is None:
        return
    there = {*_links(facts, size), *opening.hidden}
    for link in sealed:
        if link.position < size and link not in there:
            raise NotShown(f"your late call, sealed at position {link.position}, is not on it")


def _require_agreed(
    seen: Mapping[str, Any], facts: Sequence[Mapping[str, Any]], opening: Opening
) -> None:
    """See that what is shown beside the entries follows from them.

    Raises:
        NotShown: it does not.
    """
    for why in amiss(seen, facts, some_hidden=bool(opening.hidden)):
        raise NotShown(why)


def _named(where: Where, facts: Iterable[Mapping[str, Any]], head: Checkpoint) -> str:
    """The entries that are not what the log holds in their place."""
    try:
        node = nodes_in(where.log.tile, head.size)
        wrong = [
            f"{link.position} ({in_words(fact['entry']['kind'], fact['entry']['body'])})"
            for fact in facts
            for link in _links([fact], head.size)
            if node(0, link.position) != link.hash
        ]
    except MALFORMED:
        return ""
    return f"; what is shown is not what the log holds at {', '.join(wrong)}" if wrong else ""


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


def _keep(store: Store, kept: _Kept) -> None:
    with store.change() as connection:
        keep(connection, "proved", msgspec.json.encode(kept).decode())


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
