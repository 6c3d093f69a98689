"""Reading the map of subjects as stored."""

from collections.abc import Collection, Iterable, Iterator
from uuid import UUID

from scalewitness.domain.translog.prefix_tree import (
    ROOT,
    Node,
    Nodes,
    Place,
    Reader,
    depth_of,
    place_of,
)
from scalewitness.domain.translog.record_map import Link
from scalewitness.ledger.models import MapSubject, StatedMap
from scalewitness.ledger.queries.prepared import asked


def about_between(start: int, end: int) -> Iterator[tuple[UUID, Link]]:
    """What entries from ``start`` on and before ``end`` are about, in log order."""
    for about, position, hash in asked(ABOUT, (start, end)):
        yield about, Link(position, bytes(hash))


def kept_subjects(subjects: Iterable[UUID]) -> dict[UUID, MapSubject]:
    """Those of the subjects that the map has."""
    return MapSubject.objects.in_bulk(list(subjects))


def stored(place: Place) -> bytes:
    """The place of a node as its row has it."""
    return place.to_bytes(-(-place.bit_length() // 8), "big")


def nodes_at(places: Collection[int]) -> Nodes:
    """The nodes at these places, as far as there are any."""
    keys = "{" + ",".join([f'"\\\\x{stored(one).hex()}"' for one in places]) + "}"
    return {
        int.from_bytes(place, "big"): Node(bytes(hash), None if path is None else bytes(path))
        for place, hash, path in asked(NODES, (keys,))
    }


def along(paths: Iterable[bytes]) -> Reader:
    """Reads nodes on these paths and beside them, at once as far down as nearly all of a tree's
    leaves stand; whoever asks level by level waits for PostgreSQL no more."""
    wanted = {place_of(path, depth) for path in paths for depth in range(AHEAD + 1)}
    known = nodes_at(wanted | {place ^ 1 for place in wanted if place > ROOT})

    def read(places: Collection[Place]) -> Nodes:
        deeper = [place for place in places if depth_of(place) > AHEAD]
        found = {place: known[place] for place in places if place in known}
        return {**found, **nodes_at(deeper)} if deeper else found

    return read


AHEAD = 28
"""Levels: of a million leaves one in 250 stands deeper."""


def latest_map() -> StatedMap | None:
    """The map as the log last stated it; None where it never did."""
    return StatedMap.objects.order_by("-position").first()


ABOUT = """
SELECT about, position, leaf_hash FROM ledger_entry
WHERE position >= %s AND position < %s AND about IS NOT NULL ORDER BY position
"""
NODES = "SELECT place, hash, path FROM ledger_mapnode WHERE place = ANY(%s::bytea[])"
