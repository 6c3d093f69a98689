"""The map of subjects, made anew from the entries and held to what is stored and stated of it.

Everything is streamed in the order of an index: entries and subjects side by side, then the nodes
of the tree along the order of the paths. In memory are a few thousand nodes.
"""

from collections.abc import Callable, Iterable, Iterator
from itertools import groupby, islice
from typing import Any
from uuid import UUID

from scalewitness.domain.translog.prefix_tree import NOTHING, Node, Place, nodes_over
from scalewitness.domain.translog.record_map import Link, chain_over
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry, MapHead, MapNode, MapSubject, StatedMap
from scalewitness.ledger.queries.mapping import nodes_at
from scalewitness.ledger.services.mapping import leaf_of, map_signer

AT_ONCE = 2_000


def check_map() -> Iterator[Difference]:
    """What of the map does not follow from the entries it has taken in; call it in a snapshot."""
    head = MapHead.objects.get(pk=1)
    yield from _subjects(head.size)
    yield from _nodes(bytes(head.root))
    yield from _stated(head)


def _subjects(size: int) -> Iterator[Difference]:
    """Each subject's count and chain, those of the entries about it."""
    rows = MapSubject.objects.order_by("subject").iterator(chunk_size=AT_ONCE)
    kept = next(rows, None)
    for about, links in _links(size):
        while kept is not None and kept.subject < about:
            yield Difference(_SUBJECT, None, f"no entry is about {kept.subject}")
            kept = next(rows, None)
        if kept is None or kept.subject != about:
            yield Difference(_SUBJECT, links[0].position, "what the entry is about is missing")
            continue
        if (kept.count, bytes(kept.chain)) != (len(links), chain_over(links)):
            yield Difference(_SUBJECT, links[-1].position, "other entries were taken in")
        if map_signer().key.output(bytes(kept.path_proof), about.bytes) != bytes(kept.path):
            yield Difference(_SUBJECT, links[0].position, "its path is not the one it has")
        kept = next(rows, None)
    if kept is not None:
        yield Difference(_SUBJECT, None, f"no entry is about {kept.subject}")


def _links(size: int) -> Iterator[tuple[UUID, list[Link]]]:
    """The entries that the map has taken in, by what they are about, in its order."""
    entries = Entry.objects.filter(position__lt=size, about__isnull=False)
    rows = entries.order_by("about", "position").values_list("about", "position", "leaf_hash")
    by_subject: Callable[[Any], UUID] = lambda row: row[0]  # noqa: E731  of the rows alone
    for about, found in groupby(rows.iterator(chunk_size=AT_ONCE), key=by_subject):
        yield about, [Link(position, bytes(hash)) for _, position, hash in found]


def _nodes(root: bytes) -> Iterator[Difference]:
    """Each node, and the root."""
    blinding = map_signer().blinding
    rows = MapSubject.objects.order_by("path").iterator(chunk_size=AT_ONCE)
    made, last = nodes_over((bytes(one.path), leaf_of(one, blinding)) for one in rows), NOTHING
    count, wrong = 0, 0
    try:
        for some in _batches(made):
            kept = nodes_at([place for place, _ in some])
            wrong += sum(kept.get(place) != node for place, node in some)
            count, last = count + len(some), some[-1][1].hash
    except ValueError as fault:
        yield Difference(_SUBJECT, None, str(fault))
        return
    if wrong:
        yield Difference(_NODE, None, f"{wrong} are missing or other than the entries make them")
    if (more := MapNode.objects.count() - count) > 0:
        yield Difference(_NODE, None, f"{more} too many")
    if last != root:
        yield Difference("ledger_maphead", None, "the root is not that over the subjects")


def _batches(made: Iterable[tuple[Place, Node]]) -> Iterator[list[tuple[Place, Node]]]:
    nodes = iter(made)
    while some := list(islice(nodes, AT_ONCE)):
        yield some


def _stated(head: MapHead) -> Iterator[Difference]:
    """The root as the log last stated it, where the map has taken in no more since."""
    stated = StatedMap.objects.order_by("-position").first()
    if stated is None or stated.position < head.size - 1:  # more was taken in since
        return
    if stated.position > head.size - 1:
        yield Difference("ledger_maphead", stated.position, "the map is older than what was stated")
        return
    expected = (bytes(head.root).hex(), map_signer().key.hash.hex())
    if (stated.root, stated.key) != expected:
        yield Difference("ledger_statedmap", stated.position, "another map was stated")


_SUBJECT, _NODE = "ledger_mapsubject", "ledger_mapnode"
