"""Reading what is quoted of animals. Who may read of which animal is the caller's to ask."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from scalewitness.quoted.models import Quote, QuotedFile
from scalewitness.quoted.queries.reading import known_keys

KEPT = (
    "quote_id", "key", "root", "signed_at", "entries", "calls", "label", "p_male", "quote__origin",
    "quote__size",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ShownQuote:
    """A quote whose file arrived. ``known``: the operator trusts a key that vouches for it;
    ``forked``: another file here has another tree of that size, signed with the same key;
    ``newer``: a later state of the same record is quoted here too."""

    id: UUID
    position: int
    by: UUID
    at: datetime
    origin: str
    key: str
    known: bool
    size: int
    there: UUID
    scheme: str
    code: str
    signed_at: datetime | None
    entries: int
    calls: int
    label: str
    p_male: str
    forked: bool
    newer: bool

    @property
    def as_of(self) -> int:
        return self.size - 1


def quote_of(quote: UUID) -> Quote | None:
    return Quote.objects.filter(pk=quote).first()


def quotes_of(animal: UUID) -> "QuerySet[Quote]":
    return Quote.objects.filter(animal=animal).order_by("-position")


def quoted_file(quote: UUID) -> bytes | None:
    """None: it has not arrived, or was deleted."""
    data = QuotedFile.objects.filter(pk=quote).values_list("data", flat=True).first()
    return None if data is None else bytes(data)


def quotes_shown(animal: UUID) -> list[ShownQuote]:
    """Those whose file is here, the newest state of each log first."""
    rows = {one.pk: one for one in Quote.objects.filter(animal=animal)}
    if not rows:
        return []
    files = list(QuotedFile.objects.filter(pk__in=list(rows)).values(*KEPT))
    forked, newest = _forked(files), dict[tuple[str, UUID], int]()
    for one in files:
        quote = rows[one["quote_id"]]
        whose = (quote.origin, quote.there)
        newest[whose] = max(newest.get(whose, 0), quote.size)
    found = (_shown(rows[one["quote_id"]], one, forked, newest) for one in files)
    return sorted(found, key=lambda one: (one.origin, -one.size, -one.position))


def _shown(
    quote: Quote,
    file: dict[str, Any],
    forked: set[tuple[str, int]],
    newest: dict[tuple[str, UUID], int],
) -> ShownQuote:
    own = {name: value for name, value in file.items() if name in ShownQuote.__slots__}
    return ShownQuote(
        **own,
        id=quote.pk,
        position=quote.position,
        by=quote.by,
        at=quote.at,
        origin=quote.origin,
        known=any(str(key) == file["key"] for key in known_keys(quote.origin)),
        size=quote.size,
        there=quote.there,
        scheme=quote.scheme,
        code=quote.code,
        forked=(file["key"], quote.size) in forked,
        newer=newest[quote.origin, quote.there] > quote.size,
    )


def _forked(files: Iterable[dict[str, Any]]) -> set[tuple[str, int]]:
    """Of the trees in these files, those of which another of the same key and size is here: key and
    size of each."""
    found = set[tuple[str, int]]()
    for one in files:
        other = QuotedFile.objects.filter(key=one["key"], quote__size=one["quote__size"])
        if other.exclude(root=one["root"]).exists():
            found.add((one["key"], one["quote__size"]))
    return found
