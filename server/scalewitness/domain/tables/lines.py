"""The lines of a list, and the animals on record that they are compared with."""

from collections.abc import Mapping, Sequence
from typing import Final, Literal

from msgspec import Struct

from scalewitness.domain.tables.drafts import ListedAnimal
from scalewitness.domain.tables.sheets import ListRow

State = Literal["new", "here", "cannot", "aside"]
"""``new``: to be stored; ``here``: on record already, or said by an earlier line; ``cannot``: not
as it is; ``aside``: no animal, such as a heading or a total."""


class KnownAnimal(Struct, frozen=True):
    """An animal of the keeper's on record. ``codes``: pairs of scheme and code."""

    id: str
    title: str
    species: str
    hatched: str
    codes: tuple[tuple[str, str], ...]

    def borne(self, scheme: str) -> tuple[str, ...]:
        return tuple(code for one, code in self.codes if one == scheme)


class Beside(Struct, frozen=True):
    """Another animal beside that of a line: what each says, by what it is called. ``line``: where
    it stands in the file; else ``animal`` is its id on record."""

    rows: tuple[tuple[str, str, str], ...]
    line: int = 0
    animal: str = ""
    title: str = ""


class ListLine(Struct, frozen=True):
    """``number``: in the file, from 1. ``why`` it is not to be stored, or what its keeper may not
    expect of how it was read. ``waits``: the questions to be answered first. ``same_line``: the one
    that says the same; ``same_animal``: the one on record. ``generation``: of animals of the list,
    whose parents are stored before them."""

    number: int
    row: ListRow
    state: State
    why: str = ""
    draft: ListedAnimal | None = None
    waits: tuple[str, ...] = ()
    beside: Beside | None = None
    same_line: int = 0
    same_animal: KnownAnimal | None = None
    generation: int = 0


ByCode = Mapping[tuple[str, str], Sequence[KnownAnimal]]
"""The keeper's animals by scheme, or by ``name``, and code; all in small letters."""
NOBODY: Final[ByCode] = {}
