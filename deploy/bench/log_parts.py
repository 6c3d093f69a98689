"""The three measurements of `log.py`, which sets Django up before this is imported."""

import random
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from uuid import UUID

from django.db import connection, transaction

from scalewitness.domain.translog.tiles import WIDTH, tile_root
from scalewitness.domain.translog.tree import Frontier, leaf_hash, node_hash
from scalewitness.ledger.models import Entry, Head
from scalewitness.ledger.queries.tree import growth_proof, place_proof, root_at, tip
from scalewitness.ledger.services.tiling import lay_tiles
from scalewitness.ledger.services.writing import Draft, Writer

MOST_DEARER, MOST_MS, MOST_OVER_HASHING = 3.0, 2.0, 4.0
BATCH = 100
PROOFS = 2_000
ROUNDS = 5
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@dataclass(frozen=True)
class Measured:
    what: str
    text: str
    within: bool


def building(count: int) -> Measured:
    """Leaves of some 600 bytes into a frontier and full tiles."""
    base = random.Random(1).randbytes(592)  # noqa: S311  no secret
    leaves = [number.to_bytes(8) + base for number in range(count)]
    ours, floor, plain = (
        min(one) for one in zip(*(_building_once(leaves) for _ in range(ROUNDS)), strict=True)
    )
    text = (
        f"{count:,} leaves in {ours:.2f} s, {ours / floor:.2f} times the bare hashes "
        f"({floor:.2f} s), {ours / plain:.2f} times a plain root over the same leaves"
    )
    return Measured("building the tree", text, ours / floor <= MOST_OVER_HASHING)


def _building_once(leaves: Sequence[bytes]) -> tuple[float, float, float]:
    return (
        _seconds(lambda: _tree(leaves)),
        _seconds(lambda: _bare(len(leaves))),
        _seconds(lambda: _plain(leaves)),
    )


def _tree(leaves: Sequence[bytes]) -> bytes:
    hashes = [leaf_hash(leaf) for leaf in leaves]
    for start in range(0, len(hashes) - WIDTH + 1, WIDTH):
        tile_root(b"".join(hashes[start : start + WIDTH]))
    return Frontier().append(hashes).root()


def _bare(count: int) -> None:
    data = bytes(65)
    for _ in range(2 * count):
        sha256(data).digest()


def _plain(leaves: Sequence[bytes]) -> bytes:
    level = [leaf_hash(leaf) for leaf in leaves]
    while len(level) > 1:
        odd = level[-1:] if len(level) % 2 else []
        level = [
            node_hash(left, right) for left, right in zip(level[::2], level[1::2], strict=False)
        ] + odd
    return level[0]


def appending(count: int) -> Measured:
    """Batches through the writer, and then the rows they left, inserted as they are."""
    with_log = without = 0.0
    share = max(BATCH, count // ROUNDS)
    for _ in range(0, count, share):
        first = tip().size
        with_log += _seconds(lambda: _append(share))
        rows = list(Entry.objects.filter(position__gte=first).order_by("position"))
        _bare_table()
        without += _seconds(lambda rows=rows: _insert(rows))  # type: ignore[misc]
    ratio = with_log / without
    text = (
        f"{count:,} entries in {with_log:.1f} s, {count / with_log:,.0f} a second, "
        f"{ratio:.2f} times the same rows without the log ({without:.1f} s)"
    )
    return Measured(f"appending in batches of {BATCH}", text, ratio <= MOST_DEARER)


def _append(count: int) -> None:
    for _ in range(0, count, BATCH):
        with transaction.atomic():
            writer = Writer()
            for draft in _drafts(writer.size):
                writer.add(draft, NOW)
            writer.flush()


def _drafts(first: int) -> Iterator[Draft]:
    keeper, animal = _id(1 << 60), _id(1 << 61)
    for number in range(first, first + BATCH):
        body = {
            "conclusion": "male",
            "held_by": "examiner",
            "identified": {"by": "tag", "code": f"T-{number % 997}"},
            "observed": {
                "method": "probing",
                "passes": [
                    {"side": "left", "depth": "8.5", "stopped": "resistance"},
                    {"side": "right", "depth": "9", "stopped": "resistance"},
                ],
            },
            "sureness": "certain",
        }
        yield Draft(_id(number), "call_made", keeper, keeper, NOW, animal, body)


def _id(number: int) -> UUID:
    return UUID(f"01890000-0000-7000-8000-{number & (1 << 48) - 1:012x}")


def _bare_table() -> None:
    """A table of the same columns and indexes, with no log behind it."""
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS bare_entry")
        cursor.execute("CREATE TABLE bare_entry (LIKE ledger_entry INCLUDING ALL)")


def _insert(rows: Sequence[Entry]) -> None:
    table, Entry._meta.db_table = Entry._meta.db_table, "bare_entry"
    try:
        for start in range(0, len(rows), BATCH):
            with transaction.atomic():
                Entry.objects.bulk_create(rows[start : start + BATCH])
    finally:
        Entry._meta.db_table = table


def proving(size: int) -> list[Measured]:
    """Proofs at random places and sizes, each from the database anew."""
    _grow(size)
    size = tip().size
    draw = random.Random(7)  # noqa: S311  no secret
    places = [draw.randrange(size) for _ in range(PROOFS)]
    return [
        _latency("an inclusion proof", size, [lambda p=p: place_proof(p, size) for p in places]),
        _latency("a consistency proof", size, [lambda p=p: growth_proof(p, size) for p in places]),
    ]


def _latency(what: str, size: int, proofs: Sequence[Callable[[], object]]) -> Measured:
    took = sorted(1000 * _seconds(prove) for prove in proofs)
    half, most = took[len(took) // 2], took[len(took) * 95 // 100]
    text = f"p50 {half:.2f} ms, p95 {most:.2f} ms at {size:,} entries"
    return Measured(what, text, most < MOST_MS)


def _grow(size: int) -> None:
    """Fill the log to this size, its entries written in bulk: the proofs do not care."""
    before = tip().size
    hashes = [sha256(number.to_bytes(8)).digest() for number in range(before, size)]
    with transaction.atomic(), connection.cursor() as cursor:
        columns = "position, fact, kind, claimed_at, received_at, flags, leaf, leaf_hash"
        with cursor.copy(f"COPY ledger_entry ({columns}) FROM STDIN") as copy:
            for number, one in enumerate(hashes, start=before):
                copy.write_row((number, _id(number), "none", NOW, NOW, [], b"{}", one))
        lay_tiles(before, hashes)
        head = Head.objects.get(pk=1)
        frontier = Frontier.from_bytes(bytes(head.frontier)).append(hashes)
        head.size, head.frontier, head.root = frontier.size, frontier.to_bytes(), frontier.root()
        head.save()
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    if root_at(size) != tip().root:
        raise RuntimeError("the tiles do not bear out the head")


def _seconds(run: Callable[[], object]) -> float:
    began = time.perf_counter()
    run()
    return time.perf_counter() - began
