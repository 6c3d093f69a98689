"""The map of subjects, made anew from the entries and held to what is stored and stated of it.

Some subjects and one branch of the tree at a time, all as of one moment, each streamed in the order
of an index: entries and subjects side by side, then the nodes along the order of the paths.
"""

from collections.abc import Callable, Iterable, Iterator
from functools import partial
from itertools import groupby, islice
from typing import Any
from uuid import UUID

import msgspec
from django.db.models import QuerySet

from scalewitness.domain.translog.prefix_tree import (
    NOTHING,
    ROOT,
    Node,
    Place,
    crown_over,
    depth_of,
    nodes_over,
)
from scalewitness.domain.translog.record_map import START, Link, chained
from scalewitness.fsck.crew import Crew
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry, MapHead, MapNode, MapSubject, StatedMap
from scalewitness.ledger.queries.mapping import nodes_at
from scalewitness.ledger.queries.snapshot import shared, snapshot
from scalewitness.ledger.queries.spans import bounds
from scalewitness.ledger.services.mapping import leaf_of, map_signer

AT_ONCE = 2_000
BITS = 4
"""Of a path, which part the tree into branches."""
Ends = tuple[UUID | None, UUID | None]


class Branch(msgspec.Struct):
    """What came of a branch: how many nodes it has, how many are ``wrong`` as stored, its ``top``,
    and a ``fault`` that left the rest out."""

    count: int = 0
    wrong: int = 0
    top: dict[Place, bytes] = msgspec.field(default_factory=dict)
    fault: str | None = None


def check_map(crew: Crew, since: int = 0) -> Iterator[Difference]:
    """What of the map does not follow from the entries it has taken in; call it in a snapshot.
    ``since``: subjects of which nothing was stated from there on are held to the root alone, which
    hashes them all."""
    head = MapHead.objects.get(pk=1)
    moment = shared() if crew.processes > 1 else None
    parts = bounds(head.size)
    ends = list(zip([None, *parts], [*parts, None], strict=True))
    for found in crew.each(partial(check_subjects, moment, since, head.size), ends):
        yield from found
    branches = crew.each(partial(check_branch, moment), range(1 << BITS))
    yield from _nodes(bytes(head.root), list(branches))
    yield from _stated(head)


def check_subjects(moment: str | None, since: int, size: int, ends: Ends) -> list[Difference]:
    """The subjects between two: each one's count and chain, those of the entries about it."""
    with snapshot(moment):
        return list(_subjects(since, size, ends))


def _subjects(since: int, size: int, ends: Ends) -> Iterator[Difference]:
    rows = _between(MapSubject.objects.order_by("subject"), "subject", ends)
    rows = rows.filter(subject__in=_spoken_of(since)) if since else rows
    columns = ("subject", "count", "chain", "path", "path_proof")
    stored = rows.values_list(*columns).iterator(chunk_size=AT_ONCE)
    kept = next(stored, None)
    for about, links in _links(since, size, ends):
        while kept is not None and kept[0] < about:
            yield Difference(_SUBJECT, None, f"no entry is about {kept[0]}")
            kept = next(stored, None)
        first, last, count, chain = _chain(links)
        if kept is None or kept[0] != about:
            yield Difference(_SUBJECT, first, "what the entry is about is missing")
            continue
        _, kept_count, kept_chain, path, proof = kept
        if (kept_count, bytes(kept_chain)) != (count, chain):
            yield Difference(_SUBJECT, last, "other entries were taken in")
        if map_signer().key.output(bytes(proof), about.bytes) != bytes(path):
            yield Difference(_SUBJECT, first, "its path is not the one it has")
        kept = next(stored, None)
    while kept is not None:
        yield Difference(_SUBJECT, None, f"no entry is about {kept[0]}")
        kept = next(stored, None)


def _links(since: int, size: int, ends: Ends) -> Iterator[tuple[UUID, Iterator[Link]]]:
    """The entries that the map has taken in, by what they are about, in its order."""
    entries = Entry.objects.filter(position__lt=size, about__isnull=False)
    entries = _between(entries.order_by("about", "position"), "about", ends)
    entries = entries.filter(about__in=_spoken_of(since)) if since else entries
    rows = entries.values_list("about", "position", "leaf_hash")
    by_subject: Callable[[Any], UUID] = lambda row: row[0]  # noqa: E731  of the rows alone
    for about, found in groupby(rows.iterator(chunk_size=AT_ONCE), key=by_subject):
        yield about, (Link(position, bytes(hash)) for _, position, hash in found)


def _spoken_of(since: int) -> QuerySet[Entry, Any]:
    return Entry.objects.filter(position__gte=since).order_by().values("about")


def _between(rows: QuerySet[Any], column: str, ends: Ends) -> QuerySet[Any]:
    first, end = ends
    rows = rows if first is None else rows.filter(**{f"{column}__gte": first})
    return rows if end is None else rows.filter(**{f"{column}__lt": end})


def _chain(links: Iterable[Link]) -> tuple[int, int, int, bytes]:
    """Of at least one link: the first and the last position, how many they are, and the chain."""
    first, last, count, chain = -1, -1, 0, START
    for link in links:
        first, last = (link.position if count == 0 else first), link.position
        count, chain = count + 1, chained(chain, link)
    return first, last, count, chain


def check_branch(moment: str | None, nth: int) -> Branch:
    """All paths that begin with the bits of a number: their leaves, and the nodes within."""
    first, end = nth << 256 - BITS, (nth + 1 << 256 - BITS) - 1
    low, high = first.to_bytes(32, "big"), end.to_bytes(32, "big")
    with snapshot(moment):
        rows = MapSubject.objects.filter(path__gte=low, path__lte=high).order_by("path")
        leaves = _leaves(rows.iterator(chunk_size=AT_ONCE))
        before = _path(MapSubject.objects.filter(path__lt=low).order_by("-path"))
        after = _path(MapSubject.objects.filter(path__gt=high).order_by("path"))
        branch = Branch()
        try:
            made = nodes_over(leaves, before, after)
            for some in _batches(one for one in made if _within(*one)):
                _hold(branch, some)
        except ValueError as fault:
            branch.fault = str(fault)
        return branch


def _leaves(rows: Iterable[MapSubject]) -> Iterator[tuple[bytes, bytes]]:
    blinding = map_signer().blinding
    return ((bytes(one.path), leaf_of(one, blinding)) for one in rows)


def _path(rows: QuerySet[MapSubject]) -> bytes | None:
    path = rows.values_list("path", flat=True).first()
    return None if path is None else bytes(path)


def _within(place: Place, node: Node) -> bool:
    return node.path is not None or depth_of(place) >= BITS


def _hold(branch: Branch, some: list[tuple[Place, Node]]) -> None:
    """Stored nodes beside these."""
    kept = nodes_at([place for place, _ in some])
    branch.wrong += sum(kept.get(place) != node for place, node in some)
    branch.count += len(some)
    branch.top |= {place: node.hash for place, node in some if depth_of(place) <= BITS}


def _batches(made: Iterable[tuple[Place, Node]]) -> Iterator[list[tuple[Place, Node]]]:
    nodes = iter(made)
    while some := list(islice(nodes, AT_ONCE)):
        yield some


def _nodes(root: bytes, branches: list[Branch]) -> Iterator[Difference]:
    """Each node, and the root."""
    fault = next((one.fault for one in branches if one.fault), None)
    if fault is not None:
        yield Difference(_SUBJECT, None, fault)
        return
    tops = {place: hash for one in branches for place, hash in one.top.items()}
    whole = Branch(sum(one.count for one in branches), sum(one.wrong for one in branches), tops)
    _hold(whole, list(crown_over(tops)))
    if whole.wrong:
        what = f"{whole.wrong} are missing or other than the entries make them"
        yield Difference(_NODE, None, what)
    if (more := MapNode.objects.count() - whole.count) > 0:
        yield Difference(_NODE, None, f"{more} too many")
    if whole.top.get(ROOT, NOTHING) != root:
        yield Difference("ledger_maphead", None, "the root is not that over the subjects")


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
