"""A log that was closed, having lost entries, and another that says it goes on from it.

Nothing of it is taken on the other's word. Its tree must begin with every tree that this machine
saw of the old one, as far as entries were kept, and the entry after those must say what became
of the old log, over the old log's own signature. Whether to follow is for a person to say.
"""

from collections.abc import Iterable, Sequence

import msgspec

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.keys import BadKey, VerifierKey, read_verifier
from scalewitness.domain.translog.notes import BadNote, Note, open_checkpoint
from scalewitness.domain.translog.proofs import (
    NodeReader,
    consistency_proof,
    inclusion_proof,
    verify_consistency,
    verify_inclusion,
)
from scalewitness.domain.translog.successions import (
    BadSuccession,
    Succession,
    chain_from,
    read_succession,
)
from scalewitness.domain.translog.tiles import TileReader, nodes_in
from scalewitness.domain.translog.tree import leaf_hash


class Forked(BadSuccession):
    """The log that says it goes on does not begin with what was seen: it must not be followed."""


class Closed(msgspec.Struct, frozen=True):
    """An entry of the log that closes the one before it, as the server shows it."""

    position: int
    entry: str
    statement: str | None = None


class Origins(msgspec.Struct, frozen=True):
    key: str
    closed: list[Closed]


class Succeeded(msgspec.Struct, frozen=True):
    """A log that goes on from the one watched, proved as far as can be. ``key`` vouches for
    ``note``, and nobody yet for the key. ``steps`` lead there; ``kept`` entries are the old
    log's; ``seen`` is the largest tree known here of it; ``statements`` are its operators'."""

    note: Note
    head: Checkpoint
    key: VerifierKey
    steps: list[Succession]
    seen: int
    statements: list[str]

    @property
    def kept(self) -> int:
        return self.steps[0].kept

    @property
    def end(self) -> int:
        """How many entries the old log is known to have had."""
        return max(self.seen, self.steps[0].last.size)


def gone_on(
    keys: Sequence[VerifierKey],
    shown: Note,
    answer: bytes | None,
    tile: TileReader,
    known: Iterable[Checkpoint],
) -> Succeeded:
    """The log that shows ``shown`` as what the one of ``keys`` became, from its ``answer`` about
    its origins and from its tiles. ``known`` are trees of the old log.

    Raises:
        Forked: it does not begin with one of them.
        BadSuccession: it does not say, or not show, that it goes on from that log.
    """
    origins = _origins(answer)
    steps = [read_succession(_bytes(one), one.position) for one in origins.closed]
    key, head = _opened(origins, shown)
    chain = chain_from(keys[0].name, steps, key.name)
    if chain[0].old not in keys:
        raise BadSuccession("what closes the log is not signed by the key that is trusted here")
    node = nodes_in(tile, head.size)
    try:
        _require_entries(origins.closed, head, node)
        seen = _require_beginning(chain[0], [*known, chain[0].last], head, node)
    except ValueError as fault:
        raise fault if isinstance(fault, BadSuccession) else BadSuccession(str(fault)) from None
    statements = [one.statement for one in origins.closed[-len(chain) :] if one.statement]
    return Succeeded(shown, head, key, chain, seen, statements)


def _origins(answer: bytes | None) -> Origins:
    try:
        return msgspec.json.decode(answer or b"", type=Origins)
    except msgspec.MsgspecError:
        raise BadSuccession("it says nothing of the log before it") from None


def _bytes(one: Closed) -> bytes:
    try:
        return decode64(one.entry)
    except ValueError as fault:
        raise BadSuccession(f"its entry is {fault}") from None


def _opened(origins: Origins, shown: Note) -> tuple[VerifierKey, Checkpoint]:
    try:
        key = read_verifier(origins.key)
        return key, open_checkpoint(shown, key)[0]
    except (BadKey, BadNote, NotACheckpoint) as fault:
        raise BadSuccession(
            f"its checkpoint does not hold under the key it names: {fault}"
        ) from None


def _require_entries(closed: Sequence[Closed], head: Checkpoint, node: NodeReader) -> None:
    """The entries are in the tree, each at its place."""
    for one in closed:
        if not verify_inclusion(
            leaf_hash=leaf_hash(_bytes(one)),
            index=one.position,
            size=head.size,
            proof=inclusion_proof(one.position, head.size, node),
            root=head.root,
        ):
            raise BadSuccession("what it says of the log before it is not in its tree")


def _require_beginning(
    step: Succession, known: Iterable[Checkpoint], head: Checkpoint, node: NodeReader
) -> int:
    """The tree begins with every known one that is not larger than what was kept. Returns the
    size of the largest known."""
    roots = {(one.size, one.root) for one in known}
    for size, root in sorted(roots):
        if size == step.last.size and root != step.last.root:
            raise Forked(f"two trees of {size} entries were signed of the old log")
        if size <= step.kept and not _begins(size, root, head, node):
            raise Forked(f"its first {size} entries are not those that were seen of the old log")
    return max(size for size, _ in roots)


def _begins(size: int, root: bytes, head: Checkpoint, node: NodeReader) -> bool:
    proof = list(consistency_proof(size, head.size, node))
    return verify_consistency(size1=size, root1=root, size2=head.size, root2=head.root, proof=proof)


def in_words(found: Succeeded) -> str:
    """What is said of the loss, and what is known of it here."""
    step = found.steps[0]
    lost = "It does not say that anything is missing."
    if step.last.size > step.kept:
        lost = f"It says that it lost {_range(step.kept, step.last.size)}."
    sentences = [
        f"The log {step.old.name} was closed and goes on as {found.key.name}, with its first "
        f"{step.kept} entries.",
        lost,
    ]
    if found.seen > max(step.last.size, step.kept):
        sentences.append(
            f"It had at least {found.seen} when this machine saw it: more are missing."
        )
    elif found.seen <= step.kept:
        sentences.append("Nothing that this machine saw is missing.")
    sentences += [f"Its operator says: “{one}”" for one in found.statements]
    return " ".join(sentences)


def _range(start: int, end: int) -> str:
    return f"the entry {start}" if end - start == 1 else f"the entries {start} to {end - 1}"
