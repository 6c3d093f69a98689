"""Which tables have a book, and what of them is not in it yet."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import msgspec
from django.db.models import (
    CharField,
    Count,
    F,
    Model,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
)
from django.db.models.functions import Cast, Coalesce

from scalewitness.animals.models import Animal, Collection, Joining, PhotoFile
from scalewitness.books.models import BookClosing, BookLine
from scalewitness.calls.models import HeldCall
from scalewitness.domain.translog.books import Closed
from scalewitness.ledger.models import Checkpoint, Cosignature, Fence, Text, Witness
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper, NamedAsOne, Practitioner, SharedKey
from scalewitness.sales.models import AddressChange, Buyer, Sale
from scalewitness.seasons.models import Season

THROUGH = 1000
"""Rows or lines read in one go."""
TO_NOBODY_HERE = ("no_account", "visit_by_letter")
"""Letters that are deleted with all they say, once they have left or were not taken up."""
READDRESSED = Coalesce(
    Subquery(
        AddressChange.objects.filter(buyer=OuterRef("pk"))
        .order_by()
        .values("buyer")
        .annotate(times=Count("pk"))
        .values("times")
    ),
    0,
)
"""How often a buyer had their letters sent elsewhere."""
OF_AN_EDIT = ("history_date", "history_change_reason", "history_type", "history_user_id")


@dataclass(frozen=True)
class Book:
    """Rows of a table that are never to change once they are closed.

    ``columns``: what of them, as the first closing had it for ever; a new column needs a book of
    its own. ``key`` and ``state`` tell one from another; where the book ``changes``, the next
    state of a row takes the place of the one before. ``among``: which rows. ``erasable``: what
    goes, as `DataErased` has it, where a row or what it says may have to be forgotten. ``quiet``:
    its lines alone are no reason to close the books."""

    name: str
    model: type[Model]
    columns: tuple[str, ...]
    key: str = "pk"
    state: Any = Value("")  # noqa: RUF009  never changed
    changes: bool = False
    among: Q = Q()  # noqa: RUF009  never changed
    erasable: Literal["", "text", "photo", "name"] = ""
    quiet: bool = False

    @property
    def store(self) -> str:
        return self.model._meta.db_table

    def rows(self, things: Iterable[str] | None = None) -> QuerySet[Any, dict[str, Any]]:
        """Its rows as they are now: columns, ``book_thing`` and ``book_state``."""
        rows = self.model._base_manager.filter(self.among)
        if things is not None:
            rows = rows.filter(**{f"{self.key}__in": list(things)})
        keyed = rows.annotate(
            book_thing=Cast(self.key, CharField()), book_state=Cast(self.state, CharField())
        )
        listed: QuerySet[Any, dict[str, Any]] = keyed.order_by("pk").values(
            *self.columns, "book_thing", "book_state"
        )
        return listed

    def new_keys(self) -> QuerySet[Any, tuple[str, str]]:
        """Thing and state of those that have no line. As a difference of two sets: whatever
        PostgreSQL knows of their sizes, it takes either once."""
        here = self.rows().order_by().values_list("book_thing", "book_state")
        lines = BookLine.objects.filter(book=self.name).values_list("thing", "state")
        return here.difference(lines)

    def says(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """What a line commits to of a row."""
        return {"book": self.name} | {name: row[name] for name in self.columns}


BOOKS: Final = (
    Book(
        "edits of animals",
        Animal.history.model,
        ("id", "species", "hatched", "sire", "dam", "traits", "name", "rack", "description",
         "hold_off", "ended", "ended_at", "version", "collection_id", *OF_AN_EDIT),
    ),
    Book(
        "edits of collections",
        Collection.history.model,
        ("id", "name", "version", "keeper_id", *OF_AN_EDIT),
    ),
    Book(
        "edits of seasons",
        Season.history.model,
        ("id", "year", "wants", "limits", "kept", "version", "collection_id", *OF_AN_EDIT),
    ),
    Book("edits of keepers", Keeper.history.model, ("id", "is_active", "version", *OF_AN_EDIT)),
    Book("names of keepers", Keeper, ("name",), state=F("version"), changes=True,
        erasable="name"),
    Book(
        "names of buyers",
        Buyer,
        ("name", "email", "keeper_id"),
        state=READDRESSED,
        changes=True,
        erasable="name",
    ),
    Book("names of practices", Practitioner, ("name", "named_by_id"), erasable="name"),
    Book(
        "sales drafted",
        Sale,
        ("collection_id", "buyer_id", "drafted_by_id", "drafted_at", "by_code"),
    ),
    Book("other records joined", Joining, ("other_id",)),
    Book("addresses changed", AddressChange, ("buyer_id", "by", "at")),
    Book("keys shared", SharedKey, ("first_id", "second_id", "at")),
    Book("accounts named as one", NamedAsOne, ("first_id", "second_id", "accounts")),
    Book(
        "calls held",
        HeldCall,
        ("kind", "grant", "animal_id", "collection", "by", "device", "received_at", "submission"),
    ),
    Book(
        "letters owed",
        Letter,
        ("kind", "cause", "recipient", "about", "nth", "message_id", "created_at"),
        among=~Q(kind__in=TO_NOBODY_HERE),
    ),
    Book(
        "letters sent",
        Letter,
        ("sent_at",),
        state=F("attempts"),
        changes=True,
        among=Q(sent_at__isnull=False) & ~Q(kind__in=TO_NOBODY_HERE),
    ),
    Book("texts", Text, ("fact", "field"), key="fact", state=F("field"), erasable="text"),
    Book("files of photos", PhotoFile, ("photo_id", "arrived_at"), erasable="photo"),
    Book("witnesses", Witness, ("key", "keeper", "registered_at")),
    Book("fences", Fence, ("state", "reason", "at", "size", "root", "note")),
    Book("checkpoints", Checkpoint, ("size", "root", "key", "note", "signed_at"), quiet=True),
    Book(
        "cosignatures",
        Cosignature,
        ("witness_id", "size", "root", "line", "at", "received_at"),
        quiet=True,
    ),
)  # fmt: skip


def last_closing() -> BookClosing | None:
    return BookClosing.objects.order_by("-position").first()


def closed_in(closing: BookClosing | None) -> dict[str, Closed]:
    """By its name, each book as it was closed then."""
    return msgspec.convert(closing.books if closing else {}, dict[str, Closed])


def lines_from(book: str, nth: int) -> Iterator[list[BookLine]]:
    """Its lines in order, some at a time, each with its salt where that is still there."""
    while True:
        rows = BookLine.objects.filter(book=book, nth__gte=nth).select_related("secret")
        lines = list(rows.order_by("nth")[:THROUGH])
        if not lines:
            return
        yield lines
        nth = lines[-1].nth + 1
