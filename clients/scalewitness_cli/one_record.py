"""Holding one animal's entries to its place in the map of subjects."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.translog.canonical import canonical_bytes
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.record_map import Link, NotShown, Opening, require_whole
from scalewitness.domain.translog.stated_map import opening_in
from scalewitness.domain.translog.tiles import nodes_in
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.domain.translog.vrf import VrfKey
from scalewitness_cli.agreeing import amiss
from scalewitness_cli.identity import Identity
from scalewitness_cli.outbox import Item
from scalewitness_cli.receipts import entries_of
from scalewitness_cli.recomputing import Beside
from scalewitness_cli.replica import KeptFact
from scalewitness_cli.witness import Log

MALFORMED = (ValueError, KeyError, TypeError)


@dataclass(frozen=True, slots=True)
class Answer:
    """What holds of an answer of proofs for all its animals: the tree signed, the map's root and
    key, and the entries ``beside`` that standings rest on; and each animal's proof, unverified."""

    head: Checkpoint
    root: bytes
    key: VrfKey
    beside: Beside
    proofs: dict[str, Mapping[str, Any]]


def require_record(id: str, kept: Sequence[KeptFact], opening: Opening, shown: Answer) -> None:
    """See that what is kept is the whole record: in the bytes that it is kept in, which are nearly
    always those that the log has, else in the one form that such values have in a log.

    Raises:
        NotShown: it is not.
    """
    size = shown.head.size
    links = [
        Link(one.shown["position"], leaf_hash(one.entry))
        for one in kept
        if one.shown["position"] < size
    ]
    try:
        require_whole(UUID(id), links, opening, shown.root, shown.key)
    except NotShown:
        again = _links((one.shown for one in kept), size)
        if again == links:
            raise
        require_whole(UUID(id), again, opening, shown.root, shown.key)


def opening_of(proof: Mapping[str, Any] | None) -> Opening:
    if proof is None:
        raise NotShown("the server shows no proof of it")
    return opening_in(proof)


def _links(facts: Iterable[Mapping[str, Any]], size: int) -> list[Link]:
    return [
        Link(fact["position"], leaf_hash(canonical_bytes(fact["entry"])))
        for fact in facts
        if fact["position"] < size
    ]


def require_own(own: Sequence[Item], identity: Identity, opening: Opening, size: int) -> None:
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


def require_seals(
    sealed: Sequence[Link], facts: Iterable[Mapping[str, Any]], opening: Opening, size: int
) -> None:
    """See that the entries that seal one's own late calls are on the animal's record.

    Raises:
        NotShown: one is not.
    """
    if not sealed:
        return
    there = {*_links(facts, size), *opening.hidden}
    for link in sealed:
        if link.position < size and link not in there:
            raise NotShown(f"your late call, sealed at position {link.position}, is not on it")


def require_agreed(
    seen: Mapping[str, Any], facts: Sequence[Mapping[str, Any]], opening: Opening
) -> None:
    """See that what is shown beside the entries follows from them.

    Raises:
        NotShown: it does not.
    """
    for why in amiss(seen, facts, some_hidden=bool(opening.hidden)):
        raise NotShown(why)


def where_amiss(log: Log, facts: Iterable[Mapping[str, Any]], head: Checkpoint) -> str:
    """The entries that are not what the log holds in their place."""
    try:
        node = nodes_in(log.tile, head.size)
        wrong = [
            f"{link.position} ({in_words(fact['entry']['kind'], fact['entry']['body'])})"
            for fact in facts
            for link in _links([fact], head.size)
            if node(0, link.position) != link.hash
        ]
    except MALFORMED:
        return ""
    return f"; what is shown is not what the log holds at {', '.join(wrong)}" if wrong else ""
