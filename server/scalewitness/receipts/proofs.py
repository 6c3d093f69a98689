"""What shows that records are whole, as shown; ``server/MAP.md`` says how to check it."""

from collections.abc import Iterable, Sequence
from typing import Annotated
from uuid import UUID

from django.conf import settings
from msgspec import UNSET, Meta, Struct, UnsetType

from scalewitness.domain.errors import LogContradicted
from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.prefix_tree import NOTHING
from scalewitness.ledger.queries.entries import EntryLine
from scalewitness.ledger.queries.tree import place_proofs
from scalewitness.ledger.services.opening import StatedTree
from scalewitness.receipts.rested_on import RestedOn
from scalewitness.receipts.whole import WholeRecord

Base64 = Annotated[str, Meta(extra_json_schema={"contentEncoding": "base64"})]
Place = Annotated[int, Meta(ge=0)]


class StatedMap(Struct, frozen=True):
    """The last ``entry`` of the tree that ``checkpoint`` signs, at ``position``; ``proof`` joins it
    to the tree's root (RFC 9162, 2.1.3)."""

    entry: Base64
    position: Place
    proof: list[Base64]


class Freshness(Struct, frozen=True):
    """The newest tree signed, by its last entry, whose `received` tells when that was; a newer one
    is promised ``signs_within`` so many seconds, also where nothing comes in."""

    checkpoint: str
    map: StatedMap
    signs_within: Annotated[int, Meta(ge=60)]


class HiddenEntry(Struct, frozen=True):
    """An entry that the reader may not read."""

    position: Place
    hash: Base64


class ShownEntry(Struct, frozen=True):
    """An entry that the reader may read, in the very bytes that were hashed."""

    position: Place
    entry: Base64


class PlacedEntry(Struct, frozen=True):
    """An entry that the reader may read, with its place in the tree that ``checkpoint`` signs, as
    :class:`StatedMap` has it."""

    entry: Base64
    position: Place
    proof: list[Base64]


class RecordProof(Struct, frozen=True):
    """``siblings``: from the top, empty where there is nothing beside the path. ``entries``: where
    they do not come another way. ``unread``: its standing rests on entries about something else
    that the reader may not read."""

    id: UUID
    count: Place
    nonce: Base64
    path_proof: Base64
    siblings: list[str]
    hidden: list[HiddenEntry]
    entries: list[ShownEntry] | UnsetType = UNSET
    unread: bool | UnsetType = UNSET


class Proofs(Struct, frozen=True):
    """Of the animals asked for, those whose record can be shown to be whole to the reader.
    ``signs_within``: as in :class:`Freshness`. ``deal``: by a buyer's link, of the sale and of what
    was disclosed of it. ``rested_on``: where it was asked for, entries about something else that
    standings of these animals rest on."""

    checkpoint: str
    map: StatedMap
    signs_within: int
    animals: list[RecordProof]
    deal: list[RecordProof] | UnsetType = UNSET
    rested_on: list[PlacedEntry] | UnsetType = UNSET


def proofs(
    tree: StatedTree,
    found: Iterable[WholeRecord],
    *,
    with_entries: bool,
    deal: Iterable[WholeRecord] | None = None,
    standings: RestedOn | None = None,
) -> Proofs:
    """Within `opening.stated_tree`.

    Raises:
        LogContradicted: what is stored cannot be right.
    """
    return Proofs(
        tree.checkpoint,
        _stated(tree),
        settings.LOG_SIGNS_WITHIN,
        [_proof(one, with_entries, standings) for one in found],
        UNSET if deal is None else [_proof(one, with_entries) for one in deal],
        UNSET if standings is None else _placed(standings.entries, tree),
    )


def freshness(tree: StatedTree) -> Freshness:
    return Freshness(tree.checkpoint, _stated(tree), settings.LOG_SIGNS_WITHIN)


def _stated(tree: StatedTree) -> StatedMap:
    return StatedMap(encode64(tree.entry), tree.position, [encode64(one) for one in tree.proof])


def _placed(entries: Sequence[EntryLine], tree: StatedTree) -> list[PlacedEntry]:
    try:
        found = place_proofs([one.position for one in entries], tree.position + 1)
    except ValueError:
        raise LogContradicted() from None
    return [
        PlacedEntry(
            encode64(bytes(one.leaf)), one.position, list(map(encode64, found[one.position]))
        )
        for one in entries
    ]


def _proof(one: WholeRecord, with_entries: bool, standings: RestedOn | None = None) -> RecordProof:
    opening = one.opening
    return RecordProof(
        id=one.subject,
        count=opening.count,
        nonce=encode64(opening.nonce),
        path_proof=encode64(opening.path_proof),
        siblings=["" if hash == NOTHING else encode64(hash) for hash in opening.siblings],
        hidden=[HiddenEntry(link.position, encode64(link.hash)) for link in opening.hidden],
        entries=[_read(entry) for entry in one.shown] if with_entries else UNSET,
        unread=UNSET if standings is None else one.subject in standings.unread,
    )


def _read(entry: EntryLine) -> ShownEntry:
    return ShownEntry(entry.position, encode64(bytes(entry.leaf)))
