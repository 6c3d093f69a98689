"""A stretch of entries against the rows they must have left."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from hashlib import sha256
from typing import TypeAlias
from uuid import UUID

from django.db.models import Exists, OuterRef

from scalewitness.animals.models import PhotoFile
from scalewitness.calls.models import HeldCall
from scalewitness.domain.translog.bundle import BadBundle, read_bundle
from scalewitness.domain.translog.commitment import opens
from scalewitness.domain.translog.keys import BadKey, read_verifier
from scalewitness.fsck.past import Past, Unfounded
from scalewitness.fsck.projections import PROJECTIONS
from scalewitness.fsck.reading import LoggedFact
from scalewitness.fsck.report import Difference
from scalewitness.fsck.tables import ExpectedRow, unlike
from scalewitness.ledger.models import Entry, Text
from scalewitness.quoted.models import QuotedFile
from scalewitness.quoted.queries.reading import record_in


def check_rows(stated: Sequence[LoggedFact], start: int, end: int) -> Iterator[Difference]:
    """Every projected row of the entries at [start, end)."""
    past, due = Past(stated), list[ExpectedRow]()
    for one in stated:
        try:
            rows = list(PROJECTIONS[one.kind](one, past))
        except (Unfounded, ValueError) as fault:
            yield Difference("ledger_entry", one.position, f"no rows can follow from it: {fault}")
        else:
            due += [ExpectedRow(one.position, row) for row in rows]
    yield from unlike(due, start, end)


Texts: TypeAlias = Mapping[tuple[UUID, str], tuple[str, bytes]]
"""By fact and field, the text and its salt."""


def texts_beside(stated: Iterable[LoggedFact]) -> Texts:
    """What is still kept of what these facts have beside the log."""
    rows = Text.objects.filter(fact__in=[one.id for one in stated])
    kept = rows.values_list("fact", "field", "text", "salt")
    return {(fact, field): (text, bytes(salt)) for fact, field, text, salt in kept}


def check_texts(stated: Iterable[LoggedFact], texts: Texts) -> Iterator[Difference]:
    """Texts still kept open their commitments; an erased one leaves nothing to check."""
    facts = {one.id: one for one in stated}
    for (fact, field), (text, salt) in sorted(texts.items()):
        one = facts[fact]
        if not _opens(text, salt, one.raw.get(field)):
            what = f"the {field} is not what the entry states"
            yield Difference("ledger_text", one.position, what)


def check_files(stated: Iterable[LoggedFact]) -> Iterator[Difference]:
    """Files still kept in the database are those whose fingerprints were said."""
    photos = {one.id: one for one in stated if one.kind == "photo_attached"}
    kept = PhotoFile.objects.filter(pk__in=list(photos), data__isnull=False)
    for file in kept.iterator(chunk_size=10):
        one = photos[file.pk]
        if sha256(file.data or b"").hexdigest() != one.raw["sha256"]:
            what = "the file is not the one that the entry names"
            yield Difference("animals_photofile", one.position, what)


def check_quoted(stated: Iterable[LoggedFact]) -> Iterator[Difference]:
    """Files of other logs that are still kept are those that were named, and say what stands beside
    them."""
    quotes = {one.id: one for one in stated if one.kind == "record_quoted"}
    for file in QuotedFile.objects.filter(pk__in=list(quotes)).iterator(chunk_size=10):
        one, data = quotes[file.pk], bytes(file.data)
        if sha256(data).hexdigest() != one.raw["bundle"]:
            what = "the file is not the one that the entry names"
            yield Difference("quoted_quotedfile", one.position, what)
            continue
        try:
            found = record_in(read_bundle(data), [read_verifier(file.key)])
        except (BadBundle, BadKey):
            what = "the file does not hold under the key beside it"
            yield Difference("quoted_quotedfile", one.position, what)
            continue
        for name in QUOTED:
            if getattr(found, name) != getattr(file, name):
                what = f"{name} is not what the file says"
                yield Difference("quoted_quotedfile", one.position, what)


QUOTED = ("root", "signed_at", "entries", "calls", "label", "p_male")


def check_texts_elsewhere() -> Iterator[Difference]:
    """Texts of facts that are not in the log: only what is held for a host has any."""
    logged = Entry.objects.filter(fact=OuterRef("fact"))
    for text in Text.objects.filter(~Exists(logged)).iterator():
        held = HeldCall.objects.filter(pk=text.fact).first()
        made = held.submission["body"].get(text.field) if held else None
        if not _opens(text.text, bytes(text.salt), made):
            what = f"the {text.field} of {text.fact}, which no entry states"
            yield Difference("ledger_text", None, what)


def _opens(text: str, salt: bytes, commitment: object) -> bool:
    try:
        return isinstance(commitment, str) and opens(commitment, text, salt)
    except ValueError:
        return False
