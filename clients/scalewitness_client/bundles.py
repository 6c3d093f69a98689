"""A bundle that somebody took along from a server, checked without any."""

from collections.abc import Sequence
from datetime import datetime

import msgspec

from scalewitness.domain.moments import parse_moment
from scalewitness.domain.translog.bundle import BadBundle, read_bundle
from scalewitness.domain.translog.keys import read_verifier
from scalewitness_cli.bundles import judge
from scalewitness_cli.recomputing import SAME
from scalewitness_client.reading import EntryRecord, StandingRecord, entry_of, standing_of

__all__ = ["BadBundle", "BundleRecord", "check_bundle"]


class BundleRecord(msgspec.Struct, frozen=True, kw_only=True):
    """``entries`` are all there were about the ``animal`` (its id there) as of ``position`` of the
    log ``log_origin``, signed ``signed_at`` by its clock. ``standing``: as it was stated there;
    ``recomputed``: whether it was computed again here, with the same result."""

    animal: str
    log_origin: str
    position: int
    signed_at: datetime | None
    entries: tuple[EntryRecord, ...]
    standing: StandingRecord | None
    recomputed: bool


def check_bundle(data: bytes, log_keys: Sequence[str]) -> BundleRecord:
    """Check a bundle offline.

    Args:
        log_keys: Public keys of its log, from somebody you trust.

    Raises:
        BadBundle: no key vouches for it, or it does not hold.
    """
    found = judge(read_bundle(data), list(map(read_verifier, log_keys)))
    checked = found.checked
    texts = dict[str, dict[str, str]]()
    for (fact, field), text in checked.texts.items():
        texts.setdefault(fact, {})[field] = text
    entries = (
        entry_of(
            {"position": at, "entry": msgspec.to_builtins(leaf), "texts": texts.get(leaf.id, {})}
        )
        for at, leaf in sorted(checked.entries.items())
    )
    return BundleRecord(
        animal=checked.animal,
        log_origin=checked.head.origin,
        position=checked.head.size - 1,
        signed_at=parse_moment(found.signed_at) if found.signed_at else None,
        entries=tuple(entries),
        standing=standing_of(found.standing),
        recomputed=found.computed == SAME,
    )
