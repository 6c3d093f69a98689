"""A bundle as this server takes it in: held to its own log's signature, and without its texts.

Words that people wrote on another server are theirs to erase there; here they would stay.
Everything in a bundle is somebody else's: what is kept of it is of known form and bounded.
"""

from collections.abc import Sequence
from datetime import datetime
from hashlib import sha256
from typing import get_args

import msgspec
from django.conf import settings
from msgspec import Struct

from scalewitness.domain.facts import Label
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sheet_stated import sheet_stated
from scalewitness.domain.translog.bundle import (
    BadBundle,
    Bundle,
    Checked,
    check,
    origin_of,
    read_bundle,
)
from scalewitness.domain.translog.keys import BadKey, VerifierKey, read_verifier

LABELS = frozenset(get_args(Label))
CODED = ("transponder", "tag")


class QuotedRecord(Struct, frozen=True):
    """What a bundle holds, once it holds. ``data``: the file without its texts, whose SHA-256 is
    ``sha256``; ``codes``: scheme and code each, that its animal bears there now; the rest as in
    `models.QuotedFile`."""

    data: bytes
    sha256: str
    key: str
    origin: str
    size: int
    root: str
    animal: str
    signed_at: datetime | None
    entries: int
    calls: int
    codes: tuple[tuple[str, str], ...]
    label: str
    p_male: str


def known_keys(origin: str) -> list[VerifierKey]:
    """Those that the operator trusts to speak for that log."""
    keys = map(read_verifier, settings.LOG_KNOWN_ORIGINS)
    return [one for one in keys if one.name == origin]


def read_record(data: bytes) -> QuotedRecord:
    """Without this server's trust a log speaks for itself, under the key in the file, and is shown
    so; one that is known is held to the keys that are known of it.

    Raises:
        BadBundle: it is none, or it does not hold.
    """
    bundle = read_bundle(data)
    return record_in(bundle, known_keys(origin_of(bundle)) or _own_key(bundle))


def record_in(bundle: Bundle, keys: Sequence[VerifierKey]) -> QuotedRecord:
    """What it holds under one of these keys. Raises BadBundle."""
    bundle = msgspec.structs.replace(bundle, openings=())
    checked = check(bundle, keys)
    try:
        return _record(bundle, checked)
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise BadBundle(f"Its entries are not of a form that is known here: {fault}.") from None


def _own_key(bundle: Bundle) -> list[VerifierKey]:
    try:
        return [read_verifier(bundle.key)]
    except BadKey as fault:
        raise BadBundle(f"The key in it is none: {fault}.") from None


def _record(bundle: Bundle, checked: Checked) -> QuotedRecord:
    leaves = [leaf for _, leaf in sorted(checked.entries.items())]
    codes = sheet_stated((one.kind, one.body) for one in leaves)["codes"]
    stated = [one.body for one in leaves if one.kind == "standing_changed"]
    label, p_male = _standing(stated[-1]["label"], stated[-1]["p_male"]) if stated else ("", "")
    written = bundle.written()
    return QuotedRecord(
        data=written,
        sha256=sha256(written).hexdigest(),
        key=str(checked.key),
        origin=checked.head.origin,
        size=checked.head.size,
        root=checked.head.root.hex(),
        animal=checked.animal,
        signed_at=parse_moment(checked.signed_at) if checked.signed_at else None,
        entries=len(leaves),
        calls=sum(one.kind == "call_made" for one in leaves),
        codes=tuple((scheme, code) for scheme, code in codes if scheme in CODED),
        label=label,
        p_male=p_male,
    )


def _standing(label: object, p_male: object) -> tuple[str, str]:
    if label not in LABELS:
        raise ValueError("a standing with no label of this record's")
    number = f"{float(str(p_male)):.6f}"
    if not 0 <= float(number) <= 1:
        raise ValueError("a chance that is none")
    return str(label), number
