"""The file that a page saves: what it showed, and what proves it or does not. Checked without the
page and without the service, from the log's public key alone."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

import msgspec

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint, read_body
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.domain.translog.notes import BadNote, Note, open_checkpoint, read_note
from scalewitness.domain.translog.record_map import Link, NotShown, require_whole
from scalewitness.domain.translog.stated_map import certified_key, map_in, opening_in
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.domain.translog.vrf import VrfKey
from scalewitness_cli.recomputing import SAME, Beside, Entries, beside_in, computed_again
from scalewitness_cli.shown import Record, disagreements

FORMAT = "scalewitness record and proof, version 1"
MAX_BYTES = 64 * 2**20
MALFORMED = (ValueError, KeyError, TypeError, AttributeError)


class BadSaved(ValueError):
    """The file is none that a page saves; the text says why, as a sentence."""


class Saved(msgspec.Struct, frozen=True):
    """As the page wrote it, nothing verified. ``seen``: up to which position it had to show all;
    ``before``: the checkpoint that its browser had kept, where the new one contradicts it."""

    format: str
    seen: int
    shown: list[dict[str, Any]]
    proofs: dict[str, Any] | None
    map_key: dict[str, Any] | None
    before: str | None = None


class Checked(msgspec.Struct, frozen=True):
    """What came of it. ``amiss``: what does not fit, as sentences; ``hidden``: entries that the
    reader had no access to; ``computed``: of each animal with a standing, what `computed_again`
    says of that."""

    head: Checkpoint
    hidden: int
    amiss: tuple[str, ...]
    computed: dict[str, str]


def is_saved(data: bytes) -> bool:
    """Whether the file is meant to be such a one, and not a receipt."""
    return data.lstrip()[:1] == b"{"


def read_saved(data: bytes) -> Saved:
    """The parts.

    Raises:
        BadSaved: it is none.
    """
    try:
        saved = msgspec.json.decode(data, type=Saved)
    except msgspec.DecodeError as fault:
        raise BadSaved(f"The file is no record with its proof: {fault}.") from None
    if saved.format != FORMAT:
        raise BadSaved("The file is of another kind, or of a later version.")
    if saved.proofs is None:
        raise BadSaved("The file holds no proof: the service gave none when it was saved.")
    return saved


def origin_of(saved: Saved) -> str:
    """The log that it says it is from, unverified.

    Raises:
        BadSaved: it does not say.
    """
    try:
        return read_body(note_of(saved).text).origin
    except (BadNote, NotACheckpoint) as fault:
        raise BadSaved(f"The checkpoint in it is damaged: {fault}.") from None


def check(saved: Saved, keys: Sequence[VerifierKey]) -> Checked:
    """Hold what was shown to what is proved. ``keys``: those that may speak for the log.

    Raises:
        BadSaved: nothing can be told from it.
    """
    head = _signed(note_of(saved), keys)
    amiss, hidden, computed = list[str](), 0, dict[str, str]()
    try:
        (key, root), beside = _key(saved, head), beside_in(saved.proofs or {}, head)
        records = dict[str, Record]()
        for proof in _proofs(saved):
            records[proof["id"]], why = _record(proof, head, root, key)
            hidden += records[proof["id"]].hidden
            if why is None:
                record, species = records[proof["id"]], _species(saved, proof["id"])
                why = _computed(proof, record, head, beside, species, computed)
            amiss += [f"{proof['id']}: {why}."] if why else []
        amiss += disagreements(saved.shown, records, saved.seen)
    except MALFORMED as fault:
        amiss.append(f"What it is proved by does not hold: {fault}.")
    amiss += _forked(saved, head, keys)
    return Checked(head, hidden, tuple(amiss), computed)


def note_of(saved: Saved) -> Note:
    """The checkpoint in it, unverified."""
    return read_note(str((saved.proofs or {}).get("checkpoint")))


def _signed(note: Note, keys: Sequence[VerifierKey]) -> Checkpoint:
    why = "no key of this log is trusted here"
    for key in keys:
        try:
            return open_checkpoint(note, key)[0]
        except (BadNote, NotACheckpoint) as fault:
            why = str(fault)
    raise BadSaved(f"The checkpoint cannot be relied on: {why}.")


def _key(saved: Saved, head: Checkpoint) -> tuple[VrfKey, bytes]:
    root, stated = map_in((saved.proofs or {})["map"], head)
    return certified_key(saved.map_key or {}, stated), root


def _proofs(saved: Saved) -> list[dict[str, Any]]:
    found = saved.proofs or {}
    return [*found["animals"], *found.get("deal", ())]


def _record(
    proof: dict[str, Any], head: Checkpoint, root: bytes, key: VrfKey
) -> tuple[Record, str | None]:
    """What is shown about one thing, and why that is not all there is."""
    opening = opening_in(proof)
    leaves = {one["position"]: decode64(one["entry"]) for one in proof["entries"]}
    links = [Link(at, leaf_hash(leaf)) for at, leaf in leaves.items() if at < head.size]
    record = Record({at: read_leaf(leaf) for at, leaf in leaves.items()}, len(opening.hidden))
    try:
        require_whole(UUID(proof["id"]), links, opening, root, key)
    except NotShown as fault:
        return record, str(fault)
    return record, None


def _computed(
    proof: dict[str, Any],
    record: Record,
    head: Checkpoint,
    beside: Beside,
    species: str | None,
    computed: dict[str, str],
) -> str | None:
    """Compute the standing of an animal again, whose record is whole: what does not follow, if
    anything; else what came of it is noted among those ``computed``. ``species``: as the page
    showed it, where its registration is kept from the reader."""
    if not any(one.kind == "standing_changed" for one in record.entries.values()):
        return None
    if species is None:
        computed[proof["id"]] = "neither the page nor an entry tells the species"
        return None
    facts = [
        {"position": at, "entry": msgspec.to_builtins(leaf)}
        for at, leaf in sorted(record.entries.items())
    ]
    seen = {"id": proof["id"], "species": {"key": species}}
    entries = Entries(facts, (), beside, opening_in(proof), proof.get("unread"))
    try:
        computed[proof["id"]] = computed_again(seen, entries, head.size) or SAME
    except NotShown as fault:
        return str(fault)
    return None


def _species(saved: Saved, animal: str) -> str | None:
    """As the page showed it; a page of an earlier version says nothing of it."""
    here = (one for one in saved.shown if one["kind"] == "sheet" and one["about"] == animal)
    return next((one["holds"]["species"] for one in here if "species" in one["holds"]), None)


def _forked(saved: Saved, head: Checkpoint, keys: Sequence[VerifierKey]) -> Iterator[str]:
    """Whether the checkpoint that the browser had kept convicts the log by itself."""
    if saved.before is None:
        return
    try:
        before = _signed(read_note(saved.before), keys)
    except ValueError as fault:
        yield f"The checkpoint that the browser had kept is worth nothing: {fault}"
        return
    if before.size == head.size and before.root != head.root:
        yield "The log signed two different states of one size: the two checkpoints show it."
    else:
        yield (
            f"The browser had kept a checkpoint of {before.size} entries, and the log did not show "
            f"that the one of {head.size} continues it: whoever has the log’s tiles can tell."
        )
