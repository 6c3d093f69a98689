"""A stretch of entries, looked at by one process, and what of it must be judged in order."""

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from uuid import UUID

import msgspec

from scalewitness.domain.translog.devices import READ_WHOLE, bears_on, holds
from scalewitness.domain.translog.leaf import Leaf
from scalewitness.fsck.erasures import check_gone
from scalewitness.fsck.objects import check_objects, files_in_bucket
from scalewitness.fsck.reading import Read, entries_between, read_entry
from scalewitness.fsck.report import Difference
from scalewitness.fsck.rows import check_files, check_quoted, check_rows, check_texts, texts_beside
from scalewitness.fsck.seals import check_seals
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.people.models import DeviceKey

STRETCH = 2048
"""Entries at a time: eight tiles, a few megabytes."""


class Signed(msgspec.Struct, frozen=True, array_like=True):
    """An entry that bears on signatures. ``held``: the key under which its own was seen to hold;
    the ``leaf`` is then without its body, unless that tells which signatures hold."""

    leaf: Leaf
    held: bytes | None


class Looked(msgspec.Struct, frozen=True):
    """What there is at the positions [start, end): how many entries follow one another from
    ``start`` on, with their ``hashes``; ``missing``: the first place without an entry;
    ``faults`` of entries by themselves; ``stamped``: the first of version 2, ``unstamped``: all of
    version 1; ``signatures``: in order, what bears on signatures, of all else the fact's id;
    ``found``: whatever else differs."""

    start: int
    end: int
    hashes: list[bytes]
    missing: int | None
    faults: list[Difference]
    stamped: int | None
    unstamped: list[int]
    signatures: list[tuple[int, Signed | str]]
    found: list[Difference]


def stretches(start: int, size: int) -> Iterator[tuple[int, int]]:
    for first in range(start, size, STRETCH):
        yield first, min(first + STRETCH, size)


def look_at(parts: Sequence[str], place: tuple[int, int]) -> Looked:
    """The entries at [start, end), in a snapshot of their own."""
    start, end = place
    with snapshot():
        read = [read_entry(entry) for entry in entries_between(start, end)]
        found = list(_beside(parts, read, start, end))
        signatures = _signatures(read) if "log" in parts else []
        files = files_in_bucket(one.fact for one in read if one.fact) if "log" in parts else []
    found += check_objects(files)
    in_place = [one.hash for at, one in enumerate(read, start) if one.position == at]
    here = {one.position for one in read}
    versions = [(one.position, one.leaf.stamp is not None) for one in read if one.leaf]
    return Looked(
        start,
        end,
        in_place,
        next((place for place in range(start, end) if place not in here), None),
        [Difference("ledger_entry", one.position, one.problem) for one in read if one.problem],
        next((position for position, stamped in versions if stamped), None),
        [position for position, stamped in versions if not stamped],
        signatures,
        found,
    )


def _beside(
    parts: Sequence[str], read: Iterable[Read], start: int, end: int
) -> Iterator[Difference]:
    """Texts, files and rows of these entries."""
    facts = [one.fact for one in read if one.fact is not None]
    if "log" in parts:
        texts = texts_beside(facts)
        yield from check_texts(facts, texts)
        yield from check_gone(facts, texts.keys())
        yield from check_files(facts)
        yield from check_quoted(facts)
        yield from check_seals(facts)
    if "rows" in parts:
        yield from check_rows(facts, start, end)


def _signatures(read: Iterable[Read]) -> list[tuple[int, Signed | str]]:
    leaves = [(one.position, one.leaf) for one in read if one.leaf is not None]
    keys = _keys_of({leaf.device for _, leaf in leaves if leaf.sig and leaf.device})
    seen = partial(_seen, keys=keys)
    return [(at, seen(leaf) if bears_on(leaf) else leaf.id) for at, leaf in leaves]


def _keys_of(devices: set[str]) -> dict[str, bytes]:
    """As their rows have them: whoever judges compares with what the log said by then."""
    rows = DeviceKey.objects.filter(pk__in=[UUID(one) for one in devices])
    return {str(pk): _unhexed(key) for pk, key in rows.values_list("pk", "public")}


def _unhexed(text: str) -> bytes:
    try:
        return bytes.fromhex(text)
    except ValueError:
        return b""


def _seen(leaf: Leaf, keys: dict[str, bytes]) -> Signed:
    key = keys.get(leaf.device or "")
    held = key if key and leaf.sig and holds(leaf, key) else None
    if held is not None and leaf.kind not in READ_WHOLE:
        leaf = msgspec.structs.replace(leaf, body={})
    return Signed(leaf, held)
