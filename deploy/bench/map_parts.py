"""The measurements of `map.py`, which sets Django up before this is imported."""

import os
import random
import time
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import islice
from statistics import median, quantiles
from uuid import UUID

import msgspec
from django.db import connection, transaction
from log_parts import Measured

from scalewitness.domain.ids import uuid7
from scalewitness.domain.translog.prefix_tree import nodes_over
from scalewitness.domain.translog.record_map import Link, chained
from scalewitness.ledger.models import MapSubject
from scalewitness.ledger.services.inserting import insert_values
from scalewitness.ledger.services.mapping import (
    _keep_nodes,
    leaf_of,
    map_signer,
    state_map,
)
from scalewitness.ledger.services.opening import openings, stated_tree
from scalewitness.ledger.services.writing import Draft, Writer
from scalewitness.receipts.proofs import proofs
from scalewitness.receipts.whole import WholeRecord

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
ROUNDS, PROOFS, FEW = 30, 1_000, 20
MOST_MS_FEW, MOST_S_ALL, MOST_MS_PROOF, MOST_BYTES = 50.0, 2.0, 3.0, 2_048


def new_paths() -> Measured:
    ids = [_id() for _ in range(200)]
    begun = time.perf_counter()
    for one in ids:
        map_signer().prove(one.bytes)
    each = (time.perf_counter() - begun) / len(ids) * 1e3
    return Measured("the path of a new subject", f"{each:.2f} ms", within=True)


def all_touched(count: int) -> Measured:
    """Every subject of the map is spoken of between two signatures."""
    subjects = _filled(count)
    _say(subjects)
    begun = time.perf_counter()
    state_map(NOW)
    seconds = time.perf_counter() - begun
    return Measured(f"{count:,} of {count:,} touched", f"{seconds:.2f} s", seconds <= MOST_S_ALL)


def few_touched(count: int) -> Measured:
    subjects = _filled(count - MapSubject.objects.count())
    taken = []
    for _ in range(ROUNDS):
        _say(random.sample(subjects, FEW))
        begun = time.perf_counter()
        state_map(NOW)
        taken.append((time.perf_counter() - begun) * 1e3)
    middle = median(taken)
    text = f"median {middle:.1f} ms, largest {max(taken):.1f} ms"
    return Measured(f"{FEW} of {count:,} touched", text, middle <= MOST_MS_FEW)


def proving() -> Iterator[Measured]:
    """Of single subjects in the large map, each a question of its own."""
    ids = list(MapSubject.objects.values_list("subject", flat=True)[:PROOFS])
    with stated_tree(NOW) as tree:
        taken, sizes = [], []
        for one in ids:
            begun = time.perf_counter()
            opening = openings([one])[one]
            taken.append((time.perf_counter() - begun) * 1e3)
            shown = proofs(tree, [WholeRecord(one, opening, [])], with_entries=False)
            sizes.append(len(msgspec.json.encode(shown.animals[0])))
    late = quantiles(taken, n=20)[-1]
    text = f"p50 {median(taken):.2f} ms, p95 {late:.2f} ms"
    yield Measured("a subject's proof", text, late < MOST_MS_PROOF)
    yield Measured("its size", f"{max(sizes):,} bytes at most", max(sizes) <= MOST_BYTES)


def _filled(count: int) -> Sequence[UUID]:
    """So many subjects more, each with one entry that nobody looks at; their paths are as good as
    proved ones and cost nothing. The whole map is laid anew."""
    ids = [_id() for _ in range(count)]
    link = Link(0, bytes(32))
    chain = chained(bytes(32), link)
    names = ("subject", "path", "path_proof", "count", "chain")
    proof = bytes(map_signer().key.length)
    with transaction.atomic():
        for some in _batches(ids):
            rows = [(one, os.urandom(32), proof, 1, chain) for one in some]
            insert_values(MapSubject, names, rows)
        blinding = map_signer().blinding
        rows = MapSubject.objects.order_by("path").iterator(chunk_size=5_000)
        made = nodes_over((bytes(one.path), leaf_of(one, blinding)) for one in rows)
        while some_nodes := list(islice(made, 20_000)):
            _keep_nodes(some_nodes)
    with connection.cursor() as cursor:  # what PostgreSQL would do in the background meanwhile
        cursor.execute("VACUUM ANALYZE")
    return ids


def _batches(ids: Sequence[UUID]) -> Iterator[Sequence[UUID]]:
    return (ids[start : start + 5_000] for start in range(0, len(ids), 5_000))


def _say(subjects: Sequence[UUID]) -> None:
    with transaction.atomic():
        writer = Writer()
        for one in subjects:
            writer.add(Draft(_id(), "visit_accepted", None, None, NOW, one, {}), NOW)
        writer.flush()


def _id() -> UUID:
    return uuid7(round(NOW.timestamp() * 1000), os.urandom(10))
