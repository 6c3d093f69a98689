"""Keeping the map of subjects: it takes in what the log has got, and the log states its root.

Nobody who writes to the log waits for this: entries are taken in before the log is locked, and
under its lock only those few that came in meanwhile.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from functools import cache
from uuid import UUID

import msgspec
from django.conf import settings
from django.db import transaction

from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.facts import MapRoot
from scalewitness.domain.translog.prefix_tree import NOTHING, ROOT, Node, changed, path_leaf
from scalewitness.domain.translog.record_map import (
    KIND,
    START,
    Link,
    chain_over,
    committed,
    nonce_for,
)
from scalewitness.domain.translog.vrf import output_of
from scalewitness.domain.translog.vrf_signing import VrfSigner, read_vrf_signer
from scalewitness.fresh_ids import fresh_id
from scalewitness.ledger.models import MapHead, MapNode, MapSubject, StatedMap, Succession
from scalewitness.ledger.queries.mapping import (
    about_between,
    along,
    kept_subjects,
    latest_map,
    nodes_at,
    stored,
)
from scalewitness.ledger.queries.prepared import executed
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.writing import Draft, Writer

STRETCH = 2_000
"""Entries taken in by one transaction (our judgement)."""
FEW = 100
"""Subjects whose nodes are read at once; of more, level by level, which asks for no more than there
are (our judgement)."""
UNDER_THE_LOCK = 50
"""Entries that may be taken in while the log is locked, at first; of more, without, and once more,
each time with four times as many, so that it comes to an end however fast others write."""


@cache
def map_signer() -> VrfSigner:
    """The private half of the key that the map is blinded under."""
    return read_vrf_signer(settings.LOG_MAP_KEY)


def state_map(now: datetime, *, anew: bool = False) -> None:
    """See that the last entry of the log states the map over all before it. Where there are no
    entries, or it does and it need not be stated ``anew``, nothing happens.

    Raises:
        Fenced: the log is closed.
        LogContradicted: `LOG_MAP_KEY` is another than the log stated under its present name.
    """
    _require_key()
    allowed = UNDER_THE_LOCK
    while not _stated(now, allowed, anew):
        allowed *= 4


def _require_key() -> None:
    """Under a new name the log may have a new key, and then makes its map anew."""
    last = latest_map()
    if last is None or last.key == map_signer().key.hash.hex():
        return
    if not Succession.objects.filter(position__gt=last.position).exists():
        raise LogContradicted("LOG_MAP_KEY is another than the one that the map was made with.")
    with transaction.atomic():
        head = MapHead.objects.select_for_update().get(pk=1)
        MapNode.objects.all().delete()
        MapSubject.objects.all().delete()
        head.size, head.root = 0, NOTHING
        head.save(update_fields=["size", "root"])


def _stated(now: datetime, allowed: int, anew: bool) -> bool:
    """Take in a stretch, the last one with the statement; whether that was it."""
    with transaction.atomic():
        head = MapHead.objects.select_for_update().get(pk=1)
        size = tip().size
        if size == 0 or (not anew and StatedMap.objects.filter(position=size - 1).exists()):
            return True
        _take_in(head, min(size, head.size + STRETCH))
        if head.size < size:
            return False
        writer = Writer()
        if writer.size - head.size > allowed:
            return False
        _take_in(head, writer.size)
        _state(head, writer, now)
    return True


def _state(head: MapHead, writer: Writer, now: datetime) -> None:
    body = MapRoot(root=bytes(head.root).hex(), key=map_signer().key.hash.hex())
    id = fresh_id(now)
    position = writer.add(Draft(id, KIND, None, None, now, None, msgspec.to_builtins(body)), now)
    StatedMap.objects.create(id=id, position=position, root=body.root, key=body.key)
    writer.flush()
    head.size = position + 1
    head.save(update_fields=["size"])


def _take_in(head: MapHead, size: int) -> None:
    """Extend the map by the entries before ``size``; ``head`` is its row, locked."""
    if size <= head.size:
        return
    subjects = _extended(about_between(head.size, size))
    if subjects:
        blinding = map_signer().blinding
        leaves = {bytes(one.path): leaf_of(one, blinding) for one in subjects}
        nodes = changed(leaves, along(leaves) if len(leaves) <= FEW else nodes_at)
        _keep_subjects(subjects)
        _keep_nodes(nodes.items())
        head.root = nodes[ROOT].hash
    head.size = size
    head.save(update_fields=["size", "root"])


def leaf_of(one: MapSubject, blinding: bytes) -> bytes:
    """The hash of a subject's leaf, as its row has it."""
    chain = bytes(one.chain)
    nonce = nonce_for(blinding, one.subject, one.count, chain)
    return path_leaf(bytes(one.path), committed(nonce, one.count, chain))


def _extended(entries: Iterable[tuple[UUID, Link]]) -> list[MapSubject]:
    """The subjects of these entries, which are in log order, with their chains made longer."""
    links: dict[UUID, list[Link]] = {}
    for about, link in entries:
        links.setdefault(about, []).append(link)
    kept = kept_subjects(links)
    found = []
    for about, added in links.items():
        one = kept.get(about) or _new(about)
        one.chain = chain_over(added, bytes(one.chain))
        one.count += len(added)
        found.append(one)
    return found


def _new(about: UUID) -> MapSubject:
    proof = map_signer().prove(about.bytes)
    return MapSubject(subject=about, path=output_of(proof), path_proof=proof, count=0, chain=START)


def _keep_subjects(subjects: Sequence[MapSubject]) -> None:
    names = ("subject", "path", "path_proof", "count", "chain")
    executed(KEEP_SUBJECTS, [[getattr(one, name) for one in subjects] for name in names])


def _keep_nodes(nodes: Collection[tuple[int, Node]]) -> None:
    places = [stored(place) for place, _ in nodes]
    hashes, paths = [node.hash for _, node in nodes], [node.path for _, node in nodes]
    executed(KEEP_NODES, [places, hashes, paths])


KEEP_SUBJECTS = """
INSERT INTO ledger_mapsubject (subject, path, path_proof, count, chain)
SELECT * FROM unnest(%s::uuid[], %s::bytea[], %s::bytea[], %s::bigint[], %s::bytea[])
ON CONFLICT (subject) DO UPDATE SET count = EXCLUDED.count, chain = EXCLUDED.chain
"""
KEEP_NODES = """
INSERT INTO ledger_mapnode (place, hash, path)
SELECT * FROM unnest(%s::bytea[], %s::bytea[], %s::bytea[])
ON CONFLICT (place) DO UPDATE SET hash = EXCLUDED.hash, path = EXCLUDED.path
"""
