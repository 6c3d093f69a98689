"""The projected tables, and how the rows of one are laid beside what the log says."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.db.models import Exists, Model, OuterRef, Q

from scalewitness.animals.models import (
    Animal,
    Custody,
    Husbandry,
    Identifier,
    IdentifierWithdrawal,
    Joining,
    JoiningAnswer,
    Photo,
)
from scalewitness.books.models import BookClosing, BookLine
from scalewitness.breeding.models import (
    AffectedPlan,
    Pairing,
    PairingAgreement,
    PairingEnd,
    SeasonNote,
    SeasonNoteEnd,
)
from scalewitness.calls.models import (
    Attestation,
    Call,
    HeldCall,
    HeldDecision,
    Joined,
    Objection,
    Parted,
    PhotoComparison,
    Seal,
    SetAside,
    WaitEnded,
    Withdrawal,
)
from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.disputes.models import Dispute, Finding, FindingAnswer, Statement
from scalewitness.fsck.projections.row import Row
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import (
    Checkpoint,
    Cosignature,
    Entry,
    Fence,
    GivenOut,
    Release,
    StatedMap,
    Succession,
    Tile,
    Timeline,
    Witness,
    WitnessEnd,
)
from scalewitness.people.models import (
    Deceit,
    DeviceKey,
    DeviceKeyEnd,
    Founder,
    Grant,
    GrantAnimal,
    GrantEnd,
    KeyEndorsement,
    NamedAsOne,
    SigningNotice,
    SigningNoticeStop,
    SigningRule,
    Voucher,
)
from scalewitness.quoted.models import Quote
from scalewitness.sales.models import Sale, SaleAnimal, SaleStep
from scalewitness.standings.models import (
    AdoptedNumbers,
    AdoptedPolicy,
    ExaminerRecord,
    Standing,
    StatedLinkage,
)
from scalewitness.traits.models import ClaimChange, TraitStatement, TraitWithdrawal
from scalewitness.visits.models import Visit, VisitAnimal, VisitStep

Values = dict[str, Any]
Expected = dict[str, tuple[int, Any]]
"""By column, the value it must hold and the position of the entry that says so."""


@dataclass(frozen=True)
class Table:
    """``apart``: columns no fact speaks of. ``of``: the table whose rows these belong to,
    and the column that says to which; else rows are found by their own position."""

    model: type[Model]
    apart: frozenset[str] = frozenset()
    of: tuple[type[Model], str] | None = None

    @property
    def store(self) -> str:
        return self.model._meta.db_table

    @cached_property
    def columns(self) -> list[str]:
        return [c.attname for c in self.model._meta.concrete_fields if c.attname not in self.apart]

    @property
    def placed(self) -> bool:
        return self.of is None

    @property
    def owner(self) -> str:
        """The column that rows are looked up by when they have no position."""
        return self.of[1] if self.of else ""

    def key(self, values: Mapping[str, Any]) -> tuple[Any, ...]:
        """What tells one row from another."""
        if self.model in KEPT:
            return (values["id"],)
        if self.placed:
            return (values["position"], values[self.model._meta.pk.attname])
        return tuple(values[column] for column in self.columns)


TABLES = (
    Table(Grant),
    Table(GrantEnd),
    Table(GrantAnimal, frozenset({"id"}), of=(Grant, "grant_id")),
    Table(DeviceKey),
    Table(DeviceKeyEnd),
    Table(KeyEndorsement),
    Table(SigningRule),
    Table(SigningNotice),
    Table(SigningNoticeStop),
    Table(WitnessEnd),
    Table(Founder),
    Table(Voucher),
    Table(Deceit),
    Table(
        NamedAsOne,
        frozenset({"first_id", "second_id", "objected_at", "heard_at", "counts_from", "lifted_at"}),
    ),
    Table(
        Animal,
        frozenset({"name", "rack", "description", "hold_off", "version"}),
        of=(Animal, "id"),
    ),
    Table(Identifier),
    Table(IdentifierWithdrawal),
    Table(Joining, frozenset({"other_id"})),  # in no entry before the other agrees
    Table(JoiningAnswer),
    Table(Husbandry),
    Table(Photo),
    Table(Custody),
    Table(StatedLinkage),
    Table(TraitStatement),
    Table(TraitWithdrawal),
    Table(ClaimChange),
    Table(Quote),
    Table(Visit),
    Table(VisitAnimal, frozenset({"id"}), of=(Visit, "visit_id")),
    Table(VisitStep),
    Table(Call),
    Table(Withdrawal),
    Table(WaitEnded),
    Table(Parted),
    Table(Joined),
    Table(Objection),
    Table(Attestation),
    Table(PhotoComparison),
    Table(SetAside),
    Table(Seal, frozenset({"salt"})),  # the entry commits to what it opens
    Table(HeldDecision),
    Table(Standing),
    Table(AdoptedPolicy),
    Table(AdoptedNumbers),
    Table(ExaminerRecord),
    Table(Succession),
    Table(StatedMap),
    Table(Pairing),
    Table(PairingEnd),
    Table(PairingAgreement),
    Table(AffectedPlan),
    Table(SeasonNote),
    Table(SeasonNoteEnd),
    Table(Sale, frozenset({"drafted_by_id", "drafted_at", "by_code"}), of=(Sale, "id")),
    Table(SaleAnimal, frozenset({"id"}), of=(Sale, "sale_id")),
    Table(SaleStep),
    Table(Disclosure),
    Table(Acknowledgement),
    Table(Dispute),
    Table(Statement),
    Table(Finding),
    Table(FindingAnswer),
)
KEPT = (Animal, Sale, NamedAsOne)
"""Rows of which the log says only some columns, perhaps of several entries together."""
APART: dict[type[Model], str] = {
    Entry: "the log itself",
    Tile: "grown again from the entries",
    Checkpoint: "opened and compared with the tree grown again; in a book",
    GivenOut: "says of checkpoints which may leave, and nothing of what they say",
    Fence: "the operator's, about the log and not in it; in a book",
    Release: "of the program, which states it itself",
    Timeline: "which server the database is on, which no log knows",
    Witness: "whoever vouches for the log, which therefore does not hold them; in a book",
    Cosignature: "verified when taken; whoever is shown one verifies it again; in a book",
    HeldCall: "of a call the entry commits to it; all in a book",
    BookLine: "chained, and laid beside the root that the log states",
    BookClosing: "opens that root",
}
"""Append-only tables that are no projection, and why."""


@dataclass(frozen=True, slots=True)
class ExpectedRow:
    """A row that an entry calls for."""

    position: int
    row: Row


def unlike(due: Iterable[ExpectedRow], start: int, end: int) -> Iterator[Difference]:
    """Rows that differ from those due at the positions [start, end), that are missing, or
    that no entry calls for."""
    by_model: dict[type[Model], list[ExpectedRow]] = {}
    for one in due:
        by_model.setdefault(one.row.model, []).append(one)
    for table in TABLES:
        wanted = _merged(table, by_model.get(table.model, []))
        owners = _owners(table, by_model)
        yield from _compare(table, wanted, _stored(table, owners, start, end), owners)


def _merged(table: Table, due: Iterable[ExpectedRow]) -> dict[tuple[Any, ...], Expected]:
    """By the row's key, what its columns must hold."""
    found: dict[tuple[Any, ...], Expected] = {}
    for one in due:
        expected = found.setdefault(table.key(one.row.values), {})
        expected |= {name: (one.position, value) for name, value in one.row.values.items()}
    return found


def _owners(table: Table, by_model: Mapping[type[Model], list[ExpectedRow]]) -> dict[Any, int]:
    """Whose rows to look for, with the position that brought the owner about."""
    if table.of is None:
        return {}
    return {one.row.values["id"]: one.position for one in by_model.get(table.of[0], [])}


def _stored(table: Table, owners: Mapping[Any, int], start: int, end: int) -> list[Values]:
    rows = table.model._base_manager.order_by()
    if table.placed:
        rows = rows.filter(position__gte=start, position__lt=end)
    elif owners:
        rows = rows.filter(**{f"{table.owner}__in": list(owners)})
    else:
        return []
    return list(rows.values(*table.columns))


def _compare(
    table: Table,
    wanted: dict[tuple[Any, ...], Expected],
    stored: list[Values],
    owners: Mapping[Any, int],
) -> Iterator[Difference]:
    here = {table.key(values): values for values in stored}
    for key, expected in wanted.items():
        row = here.pop(key, None)
        if row is None:
            first = min(position for position, _ in expected.values())
            yield Difference(table.store, first, "the entry has no row")
        else:
            yield from _columns(table, expected, row)
    for values in here.values():
        position = values["position"] if table.placed else owners[values[table.owner]]
        yield Difference(table.store, position, "a row that no entry calls for")


def _columns(table: Table, expected: Expected, row: Values) -> Iterator[Difference]:
    wrong = sorted(name for name, (_, value) in expected.items() if row[name] != value)
    if wrong:
        first = min(expected[name][0] for name in wrong)
        yield Difference(table.store, first, f"not what the entry says: {', '.join(wrong)}")


def strays(size: int) -> Iterator[Difference]:
    """Rows outside a log of ``size`` entries, and animals that nobody registered."""
    for table in TABLES:
        if table.placed:
            outside = Q(position__lt=0) | Q(position__gte=size)
            found = table.model._base_manager.filter(outside).order_by("position")
            for position in found.values_list("position", flat=True).iterator():
                yield Difference(table.store, position, "a row that no entry calls for")
    registered = Entry.objects.filter(kind="animal_registered", about=OuterRef("pk"))
    for animal in Animal.ever.filter(~Exists(registered)).values_list("pk", flat=True):
        what = f"animal {animal} was never registered"
        yield Difference(Animal._meta.db_table, None, what)
