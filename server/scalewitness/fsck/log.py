"""The log's own stores against a tree grown again from the leaves."""

from collections.abc import Iterator, Sequence

import msgspec

from scalewitness.domain.translog.checkpoints import NotACheckpoint
from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.domain.translog.key_changes import BadKeyChange, names_a_key, read_change
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import BadNote, open_checkpoint
from scalewitness.domain.translog.regrowth import Filled, Regrowth
from scalewitness.domain.translog.tiles import HEIGHT, WIDTH
from scalewitness.domain.translog.tree import HASH_BYTES
from scalewitness.fsck.report import Difference
from scalewitness.fsck.stretches import Looked
from scalewitness.ledger.models import Checkpoint, Entry, Head, SignedHead, Tile
from scalewitness.ledger.queries.origins import key_changes
from scalewitness.ledger.queries.tree import root_at
from scalewitness.ledger.services.signing import keys_of_all_notes


class Claim(msgspec.Struct, frozen=True):
    """A root that some store says the first ``size`` entries have."""

    store: str
    size: int
    root: bytes


class State(msgspec.Struct, frozen=True):
    """The head and what was signed, as they were at one moment."""

    size: int
    root: bytes
    frontier: bytes
    claims: tuple[Claim, ...]


def read_state() -> State:
    head, signed = Head.objects.get(pk=1), SignedHead.objects.get(pk=1)
    claims = [Claim("ledger_head", head.size, bytes(head.root))]
    if signed.size:
        claims.append(Claim("ledger_signedhead", signed.size, bytes(signed.root)))
    return State(head.size, bytes(head.root), bytes(head.frontier), tuple(claims))


def trusted_keys() -> dict[str, VerifierKey]:
    """The log's key and those it signed under before, by their text."""
    keys = keys_of_all_notes()
    return {str(key): key for key in keys}


class LogCheck:
    """Grows the tree again; ``check`` takes the stretches of the log in order."""

    def __init__(self, tree: Regrowth, state: State, more: Sequence[Claim] = ()) -> None:
        self.tree = tree
        self._state = state
        self._claims = [*state.claims, *more]
        self._keys = trusted_keys()
        self._ends = {str(one.replaces): one.size for one in key_changes()}

    def check(self, looked: Looked) -> Iterator[Difference]:
        """The entries of a stretch, the tiles they fill and what was signed of them."""
        yield from looked.faults
        if looked.missing is not None:
            yield Difference("ledger_entry", looked.missing, "there is no entry at this position")
        start = looked.start
        if self.tree.size == start:  # else the log broke off earlier
            yield from self._grow(looked.hashes, start, start + len(looked.hashes))

    def _grow(self, hashes: Sequence[bytes], start: int, end: int) -> Iterator[Difference]:
        signed = list(Checkpoint.objects.filter(size__gt=start, size__lte=end).order_by("size"))
        claims = [one for one in self._claims if start < one.size <= end]
        filled: list[Filled] = []
        sizes = {end} | {one.size for one in signed} | {one.size for one in claims}
        for size in sorted(sizes):
            filled += self.tree.append(hashes[self.tree.size - start : size - start])
            root = self.tree.root()
            yield from self._against(root, [one for one in claims if one.size == size])
            for note in (one for one in signed if one.size == size):
                yield from self._open(note, root)
        yield from _tiles(filled)

    def _against(self, root: bytes, claims: Sequence[Claim]) -> Iterator[Difference]:
        for claim in claims:
            if claim.root != root:
                what = f"not the root of the first {claim.size} entries"
                yield Difference(claim.store, claim.size, what)

    def _open(self, row: Checkpoint, root: bytes) -> Iterator[Difference]:
        fault = self._fault(row, root)
        if fault:
            yield Difference("ledger_checkpoint", row.size, fault)

    def _fault(self, row: Checkpoint, root: bytes) -> str | None:
        key = self._keys.get(row.key)
        if key is None:
            return "signed under a key that is neither the log's nor retired"
        try:
            opened, _ = open_checkpoint(row.note, key)
        except (BadNote, NotACheckpoint) as fault:
            return f"the note does not open: {fault}"
        if (opened.size, opened.root) != (row.size, bytes(row.root)):
            return "the note is of another tree than its row"
        if row.size > self._ends.get(row.key, row.size):
            return "signed under a key that the log had given up"
        if opened.root != root:
            return f"not the root of the first {row.size} entries"
        return self._misnamed(row) if row.replaces or names_a_key(opened) else None

    def _misnamed(self, row: Checkpoint) -> str | None:
        """What is wrong with a row that says, or whose note says, that the key changed."""
        old = self._keys.get(row.replaces or "")
        try:
            named = str(read_change(row.note, old).new) if old else ""
        except BadKeyChange as fault:
            return f"the change of keys does not hold: {fault}"
        return None if named == row.key else "the note changes the key otherwise than its row"

    def finish(self) -> Iterator[Difference]:
        """What lies at or beyond the end: the head's right edge, and larger trees claimed."""
        state, size = self._state, self.tree.size
        if size < state.size:
            yield Difference("ledger_head", size, f"the head says {state.size} entries")
        elif state.frontier != self.tree.frontier().to_bytes():
            yield Difference("ledger_head", size, "its right edge is not that of the entries")
        for claim in self._claims:
            if claim.size > size and claim.store != "ledger_head":
                yield Difference(claim.store, size, f"it says {claim.size} entries, of {size}")

    def looked_back(self, began: int) -> Iterator[Difference]:
        """Claims about a part that an earlier run has been over, read from the tiles."""
        for claim in self._claims:
            if 0 < claim.size <= began:
                try:
                    root = root_at(claim.size)
                except ValueError as fault:
                    yield Difference("ledger_tile", claim.size, str(fault))
                else:
                    yield from self._against(root, [claim])


def beyond(size: int) -> Iterator[Difference]:
    """Rows of the log's stores past its end, which a head of ``size`` knows nothing of."""
    first = Entry.objects.filter(position__gte=size).order_by("position").first()
    if first is not None:
        yield Difference("ledger_entry", first.position, "an entry past the head")
    before = Entry.objects.filter(position__lt=0).order_by("position").first()
    if before is not None:
        yield Difference("ledger_entry", before.position, "an entry before the first")
    for note in Checkpoint.objects.filter(size__gt=size).order_by("size"):
        what = f"signed over {note.size} entries, of {size}"
        yield Difference("ledger_checkpoint", size, what)
    places = Tile.objects.order_by("level", "index").values_list("level", "index")
    for level, index in places.iterator():
        if (index + 1) << (HEIGHT * (level + 1)) > size:
            what = f"{Tile(level=level, index=index)} lies past the end"
            yield Difference("ledger_tile", size, what)


def _tiles(filled: Sequence[Filled]) -> Iterator[Difference]:
    """Stored tiles beside those that became full."""
    levels: dict[int, list[Filled]] = {}
    for one in filled:
        levels.setdefault(one.place.level, []).append(one)
    for level, ones in levels.items():
        rows = Tile.objects.filter(level=level, index__in=[one.place.index for one in ones])
        stored = {row.index: row for row in rows}
        for one in ones:
            yield from _tile(one, stored.get(one.place.index))


def _tile(one: Filled, row: Tile | None) -> Iterator[Difference]:
    span = HEIGHT * one.place.level
    first = one.place.index * WIDTH << span
    if row is None:
        yield Difference("ledger_tile", first, f"tile {one.place.path()} is missing")
        return
    layers = bytes(row.layers)
    if layers != one.layers:
        position = first + (_first_unlike(layers, one.layers) << span)
        what = f"tile {one.place.path()} is not that of the entries"
        yield Difference("ledger_tile", position, what)
    elif bytes(row.root) != one.root:
        yield Difference("ledger_tile", first, f"the root of tile {one.place.path()} is wrong")


def _first_unlike(layers: bytes, right: bytes) -> int:
    """Which of the 256 hashes is the first to differ, or to have a wrong one above it."""
    at = next(
        (at for at in range(len(right) // HASH_BYTES) if _hash(layers, at) != _hash(right, at)), 0
    )
    height = 0
    while at >= WIDTH >> height:
        at -= WIDTH >> height
        height += 1
    return at << height


def _hash(hashes: bytes, at: int) -> bytes:
    return hashes[at * HASH_BYTES : (at + 1) * HASH_BYTES]


class Versions(msgspec.Struct):
    """Of the entries read so far, in order: since one came with the record's stamp, an entry
    without it tells less than the record was writing by then. A plain value, as `DeviceKeys`."""

    stamped: bool = False

    def read(self, looked: Looked) -> Iterator[Difference]:
        """Take the next stretch in; entries that lack what those before them have."""
        first = 0 if self.stamped else looked.stamped
        self.stamped = first is not None
        for position in looked.unstamped:
            if first is not None and position >= first:
                what = "an entry of version 1 after one of version 2"
                yield Difference("ledger_entry", position, what)


def check_signatures(looked: Looked, devices: DeviceKeys) -> Iterator[Difference]:
    """Signatures that do not hold. ``devices`` has read every entry before these."""
    for position, one in looked.signatures:
        if isinstance(one, str):
            devices.read_unsigned(one)
            continue
        fault = devices.read(one.leaf, one.held)
        if fault:
            yield Difference("ledger_entry", position, fault)
