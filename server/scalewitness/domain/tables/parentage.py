"""Which animals the parents are that a list names: in another of its lines, or on record."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from graphlib import CycleError, TopologicalSorter
from typing import Final, TypeAlias

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.parents import Role
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.tables.asking import Bad, ListCells
from scalewitness.domain.tables.drafts import ListedAnimal, ListedParent
from scalewitness.domain.tables.lines import ByCode, KnownAnimal, ListLine
from scalewitness.domain.tables.questions import Waits

OTHER_SEX: Final[Mapping[Role, str]] = {"sire": "female", "dam": "male"}
Marks: TypeAlias = Mapping[int, set[str]]
"""What each line's animal goes by, by the line's number."""


def mark_of(text: str) -> str:
    """A name or a code as it is compared."""
    return " ".join(text.split()).casefold()


def parent_named(text: str) -> str:
    return " ".join(text.split())[:60]


class ParentCandidate(Struct, frozen=True):
    """An animal that may be meant: in a ``line`` of the list, or on record."""

    species: str
    hatched: str
    title: str
    line: ListLine | None = None
    known: KnownAnimal | None = None

    @property
    def name(self) -> str:
        """What an answer calls it."""
        return f"line-{self.line.number}" if self.line else str(self.known and self.known.id)

    @property
    def in_words(self) -> str:
        where = f"line {self.line.number}" if self.line else "on record"
        hatched = f", hatched {self.hatched}" if self.hatched else ""
        return f"{self.title}: {taxon(self.species).common}{hatched} ({where})"


class ParentFinder:
    """Settles lines that name parents. ``marks``: of every line that may be an animal's."""

    def __init__(
        self, lines: Sequence[ListLine], marks: Marks, known: ByCode, cells: ListCells
    ) -> None:
        self._lines = {one.number: one for one in lines}
        self._cells = cells
        self._by_mark: defaultdict[str, list[int]] = defaultdict(list)
        for number, borne in marks.items():
            for mark in borne:
                self._by_mark[mark].append(number)
        self._known: defaultdict[str, dict[str, KnownAnimal]] = defaultdict(dict)
        for (_, code), animals in known.items():
            for animal in animals:
                self._known[mark_of(code)][animal.id] = animal

    def settled(self) -> list[ListLine]:
        """Every line, its parents found; one whose parents are not is not to be stored."""
        for number in self._in_order():
            line = self._lines[number]
            if line.draft is not None and line.draft.parents:
                self._lines[number] = self._settle(line, line.draft)
        return [self._lines[number] for number in sorted(self._lines)]

    def ask_ahead(self, parents: Mapping[int, Mapping[Role, str]]) -> None:
        """Of lines that wait for other answers, ask at once about parents that are nowhere: all
        questions are to come together."""
        for number, named in parents.items():
            line = self._lines[number]
            for role, name in named.items() if line.waits else ():
                if not self._by_mark.get(mark_of(name)) and not self._known.get(mark_of(name)):
                    self._cells.begin(line.row)
                    with suppress(Bad, Waits):
                        self._cells.reply("parents", f"{name} ({role})")

    # --- parents before their young ---------------------------------------------------

    def _in_order(self) -> Iterator[int]:
        """Every line after those in which its parents may stand; of those that go round in a
        circle the ones to be asked about, and the others are refused."""
        sorter = TopologicalSorter(
            {
                line.number: {
                    one for named in _named(line) for one in self._numbers(named, line.number)
                }
                for line in self._lines.values()
            }
        )
        left = set(self._lines)
        with suppress(CycleError):  # the rest can be had all the same
            sorter.prepare()
        while ready := sorter.get_ready():
            yield from sorted(ready)
            sorter.done(*ready)
            left.difference_update(ready)
        yield from filter(self._is_to_be_asked, sorted(left))

    def _is_to_be_asked(self, number: int) -> bool:
        """Of one that goes round in a circle; refuses it where there is nothing to ask."""
        line = self._lines[number]
        if any(len(self._numbers(named, number)) > 1 for named in _named(line)):
            return True
        if line.draft:
            self._lines[number] = _refused(line, "By the list it would be its own ancestor.")
        return False

    def _numbers(self, named: str, of: int) -> list[int]:
        """The lines in which the parent may stand that the line ``of`` names so: not in itself,
        where it stands in others too or was answered."""
        numbers = self._by_mark.get(mark_of(named), [])
        answer = self._cells.answer(f"parent={named}")
        if f"line-{of}" != answer and answer in {f"line-{one}" for one in numbers}:
            return [one for one in numbers if f"line-{one}" == answer]
        others = [one for one in numbers if one != of]
        return others or ([] if self._known.get(mark_of(named)) else list(numbers))

    # --- one line ---------------------------------------------------------------------

    def _settle(self, line: ListLine, draft: ListedAnimal) -> ListLine:
        self._cells.begin(line.row)
        found: dict[str, ListedParent | None] = {}
        wrong: list[str] = []
        waits: list[str] = []
        for role, parent in draft.parents.items():
            try:
                found[role] = self._found(role, parent.named, line.number, draft)
            except Bad as fault:
                wrong.append(str(fault))
            except Waits as wait:
                waits.append(wait.name)
        if _are_one(found):
            wrong.append("Its sire and its dam are the same animal.")
        if wrong:
            return _refused(line, " ".join(wrong))
        if waits:
            return _refused(line, "It waits for your answer.", tuple(waits))
        after = [self._lines[one.line].generation + 1 for one in found.values() if one and one.line]
        left_out = [role for role, one in found.items() if one is None]
        why = f"Its {' and '.join(left_out)} only in its description." if left_out else ""
        return replace(
            line,
            draft=_described(draft, found),
            why=" ".join(filter(None, (line.why, why))),
            generation=max(after, default=0),
        )

    def _found(
        self, role: Role, named: str, number: int, draft: ListedAnimal
    ) -> ListedParent | None:
        """None where its keeper leaves it out, and has it described.

        Raises:
            Waits, Bad: it is not found, or cannot be it.
        """
        numbers = self._numbers(named, number)
        broken = [one for one in numbers if self._lines[one].state == "cannot"]
        among = self._candidates(named, numbers)
        example = f"{named} ({role})"
        if broken or not among:
            self._wait_with(broken)
            self._cells.reply("parents", example)
            return None
        chosen = among[0]
        if len(among) > 1 or chosen.species != draft.species:
            options = tuple((one.name, one.in_words) for one in among)
            answer = self._cells.reply(f"parent={named}", example, options)
            if answer == "describe":
                return None
            if answer not in dict(options):
                raise Waits(f"parent={named}")
            chosen = next(one for one in among if one.name == answer)
        self._check(role, chosen, draft)
        return ListedParent(
            named, chosen.line.number if chosen.line else 0, chosen.known.id if chosen.known else ""
        )

    def _wait_with(self, broken: Sequence[int]) -> None:
        """Raises Waits for what a parent's own line waits for."""
        for number in broken:
            if waits := self._lines[number].waits:
                raise Waits(waits[0])

    def _candidates(self, named: str, numbers: Iterable[int]) -> list[ParentCandidate]:
        """Each animal once, also where it is on record and in several lines."""
        known = dict(self._known.get(mark_of(named), {}))
        found: dict[int, ListLine] = {}
        for number in numbers:
            line = self._lines[number]
            while line.same_line:
                line = self._lines[line.same_line]
            if line.same_animal:
                known.setdefault(line.same_animal.id, line.same_animal)
            elif line.draft is not None:
                found[line.number] = line
        listed = [
            ParentCandidate(one.draft.species, one.draft.hatched, _title(one.draft), line=one)
            for one in found.values()
            if one.draft
        ]
        there = [
            ParentCandidate(one.species, one.hatched, one.title, known=one)
            for one in known.values()
            if not any(_is_listed(one, other) for other in listed)
        ]
        return [*listed, *there]

    def _check(self, role: Role, chosen: ParentCandidate, draft: ListedAnimal) -> None:
        where = f"line {chosen.line.number}" if chosen.line else "on record"
        other = chosen.line.draft if chosen.line else None
        if other is draft:
            raise Bad(f"It is named as its own {role}.")
        if other and other.sure and other.sex == OTHER_SEX[role]:
            raise Bad(f"Its {role}, {where}, is {OTHER_SEX[role]} in this list.")
        if chosen.hatched and draft.hatched and chosen.hatched >= draft.hatched:
            raise Bad(f"Its {role}, {where}, hatched on {chosen.hatched}: not before it.")


def _title(draft: ListedAnimal) -> str:
    return ", ".join(filter(None, (draft.name, *draft.codes[:1])))


def _named(line: ListLine) -> list[str]:
    return [one.named for one in line.draft.parents.values()] if line.draft else []


def _are_one(found: Mapping[str, ListedParent | None]) -> bool:
    sire, dam = found.get("sire"), found.get("dam")
    return sire is not None and dam is not None and _place(sire) == _place(dam)


def _place(parent: ListedParent) -> tuple[int, str]:
    return parent.line, parent.animal


def _is_listed(known: KnownAnimal, listed: ParentCandidate) -> bool:
    """Whether an animal on record that has a name alone is the list's own, brought before."""
    bare = not known.codes and listed.line and listed.line.draft and not listed.line.draft.codes
    here = (known.title.casefold(), known.species, known.hatched)
    return bool(bare) and here == (listed.title.casefold(), listed.species, listed.hatched)


def _described(draft: ListedAnimal, found: Mapping[str, ListedParent | None]) -> ListedAnimal:
    """With what was found, and the rest in the description."""
    parents = draft.parents
    named = [
        f"{role.capitalize()}: {parents[role].named}" for role in parents if found[role] is None
    ]
    text = "\n".join(filter(None, (*named, draft.description)))
    return replace(draft, sire=found.get("sire"), dam=found.get("dam"), description=text)


def _refused(line: ListLine, why: str, waits: tuple[str, ...] = ()) -> ListLine:
    return ListLine(line.number, line.row, "cannot", why, waits=waits)
