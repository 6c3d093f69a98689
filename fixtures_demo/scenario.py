"""The scenario's data, read from ``data/`` and held to a shape.

Keys refer to each other by name. Times are counted from the first run (`fixtures_demo.fixed`);
``observed``, ``noted`` and ``identified`` are written exactly as the API takes them.
"""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal, TypeVar

import msgspec

DATA = Path(__file__).resolve().parent / "data"

T = TypeVar("T")


class Item(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Base of everything in the data; a misspelt field is an error."""


class Keeper(Item, frozen=True):
    key: str
    name: str
    email: str
    password: str
    signs: bool = False
    """Whether their device signs the calls it sends."""
    founder: bool = False
    """Whether the operator names them at the start, as one whose word may verify a sex."""
    vouched_by: tuple[str, ...] = ()
    """Founders who answer for them, on ``vouched`` day."""
    vouched: str = ""


class Practitioner(Item, frozen=True):
    """A veterinarian, laboratory or earlier keeper; named by whoever reports their calls."""

    key: str
    named_by: str
    name: str


class Collection(Item, frozen=True):
    """``recorded``: when its keeper wrote its animals down."""

    key: str
    keeper: str
    name: str
    recorded: str


class Grant(Item, frozen=True):
    key: str
    collection: str
    to: str
    role: Literal["partner", "viewer"]
    at: str
    animals: tuple[str, ...] | None = None


class Note(Item, frozen=True):
    at: str
    noted: dict[str, Any]
    note: str | None = None


class Animal(Item, frozen=True):
    key: str
    name: str
    species: str
    hatched: str
    tag: str
    transponder: str | None = None
    sire: str | None = None
    dam: str | None = None
    traits: tuple[str, ...] = ()
    recorded: str | None = None
    rack: str = ""
    description: str = ""
    hold_off: bool = False
    notes: tuple[Note, ...] = ()


class Visit(Item, frozen=True):
    """``ended``: when the host ended it early; ``answer`` None: the guest has not answered."""

    key: str
    collection: str
    guest: str
    animals: tuple[str, ...]
    invited: str
    opens: str
    closes: str
    blind: bool = True
    answer: Literal["accepted", "declined"] | None = None
    answered: str | None = None
    ended: str | None = None


class Call(Item, frozen=True):
    """``read`` names what identified the animal; ``identified`` overrides it in full."""

    animal: str
    at: str
    conclusion: str
    observed: dict[str, Any]
    key: str | None = None
    sureness: str | None = None
    read: str | None = None
    identified: dict[str, str] | None = None
    held_by: str | None = None
    harm: tuple[str, ...] = ()
    told: str | None = None
    reported: dict[str, str] | None = None
    document: str | None = None
    note: str | None = None


class GuestWeight(Item, frozen=True):
    animal: str
    at: str
    grams: str


class Batch(Item, frozen=True):
    """Calls one examiner sent together; ``sureness``, ``read`` and ``held_by`` hold for each
    that does not say otherwise."""

    key: str
    by: str
    sureness: str
    read: str
    held_by: str
    call: tuple[Call, ...]
    visit: str | None = None
    weights: tuple[GuestWeight, ...] = ()

    def keyed(self) -> Iterator[tuple[str, Call]]:
        """Each call with the key its id is derived from."""
        for index, call in enumerate(self.call):
            yield call.key or f"{self.key}/{index}/{call.animal}", call


class Withdrawal(Item, frozen=True):
    call: str
    by: str
    at: str
    note: str


class Objection(Item, frozen=True):
    call: str
    by: str
    ground: str
    at: str
    note: str


class Statement(Item, frozen=True):
    """A fact that is neither call nor remark, about an animal or, where none is given, about
    something of its own that names ``animals``. They, ``call`` and ``photos`` are keys, ``say`` is
    the rest of its body; ``picture`` the file that a photo is of."""

    key: str
    kind: str
    by: str
    at: str
    animal: str | None = None
    animals: dict[str, str] = {}
    call: str | None = None
    photos: dict[str, str] = {}
    say: dict[str, Any] = {}
    picture: str | None = None
    note: str | None = None

    @property
    def file(self) -> bytes | None:
        return (DATA / "photos" / self.picture).read_bytes() if self.picture else None


class Buyer(Item, frozen=True):
    name: str
    email: str


class Sale(Item, frozen=True):
    """Taken as far as ``until``; past ``offered`` the buyer must be a keeper."""

    key: str
    collection: str
    animals: tuple[str, ...]
    buyer: Buyer
    recheck_days: int
    remedy: str
    until: Literal["offered", "confirmed", "paid", "handed_over", "closed"]
    buyer_keeper: str | None = None
    to: str | None = None
    note: str | None = None


class Step(Item, frozen=True):
    do: Literal["register", "grants", "visit", "after", "calls", "remarks", "sale", "states"]
    what: str


class Scenario:
    """All of the data by key. Raises ValueError when two things share a key."""

    def __init__(self, folder: Path = DATA) -> None:
        people, collections = _toml(folder / "people.toml"), _toml(folder / "collections.toml")
        remarks = _toml(folder / "remarks.toml")
        self.keepers = _keyed(people["keeper"], Keeper)
        self.practitioners = _keyed(people["practitioner"], Practitioner)
        self.collections = _keyed(collections["collection"], Collection)
        self.grants = _keyed(collections["grant"], Grant)
        self.home: dict[str, str] = {}
        self.animals: dict[str, Animal] = {}
        for path in sorted((folder / "animals").glob("*.toml")):
            self._add_animals(_toml(path))
        self.visits = _keyed(_toml(folder / "visits.toml")["visit"], Visit)
        self.sales = _keyed(_toml(folder / "sales.toml")["sale"], Sale)
        files = sorted((folder / "calls").glob("*.toml"))
        self.batches = _keyed([row for path in files for row in _toml(path)["batch"]], Batch)
        self.withdrawals = _rows(remarks["withdrawal"], Withdrawal)
        self.objections = _rows(remarks["objection"], Objection)
        self.statements = _keyed(_toml(folder / "statements.toml")["statement"], Statement)
        self.steps = _rows(_toml(folder / "program.toml")["step"], Step)

    def _add_animals(self, sheet: dict[str, Any]) -> None:
        found = _keyed(sheet["animal"], Animal)
        if shared := found.keys() & self.animals.keys():
            raise ValueError(f"two animals share a key: {', '.join(sorted(shared))}")
        self.animals |= found
        self.home |= dict.fromkeys(found, sheet["collection"])

    @property
    def calls(self) -> dict[str, Call]:
        """Every call by its key."""
        return {key: call for batch in self.batches.values() for key, call in batch.keyed()}

    @property
    def first_keeper(self) -> Keeper:
        """Whose device name keeps the day of the first run, and who sends the last step."""
        return next(iter(self.keepers.values()))

    @property
    def founders(self) -> list[Keeper]:
        return [keeper for keeper in self.keepers.values() if keeper.founder]

    @property
    def last_call(self) -> str:
        """The key of the call that the loader sends last of all."""
        *_, (key, _) = self.batches[self.steps[-1].what].keyed()
        return key

    def keeper_of(self, animal: str) -> str:
        """The keeper in whose collection the animal begins."""
        return self.collections[self.home[animal]].keeper


def _toml(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def _rows(rows: list[Any], type: type[T]) -> tuple[T, ...]:
    return tuple(msgspec.convert(row, type) for row in rows)


def _keyed(rows: list[Any], type: type[T]) -> dict[str, T]:
    found = {row["key"]: item for row, item in zip(rows, _rows(rows, type), strict=True)}
    if len(found) != len(rows):
        raise ValueError(f"two of the data's {type.__name__} rows share a key")
    return found
