"""An animal as a line of a list describes it, and the facts that it comes to."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any, Final

import msgspec
from msgspec import Struct

from scalewitness.domain.ids import uuid7
from scalewitness.domain.observations import Sex
from scalewitness.domain.parents import Role

Fact = dict[str, Any]

SOURCES: Final = {
    "own": ("My own list; I can name no check of it", {"method": "visual", "feature": "other"}),
    "seller": ("The sellers I had them from", {"method": "statement", "source": "seller"}),
    "earlier_keeper": ("Earlier keepers", {"method": "statement", "source": "earlier_keeper"}),
    "papers": ("Papers that came with them", {"method": "statement", "source": "papers"}),
}
"""Whose word the sexes in a list are, and the observation that each comes to: none is a check, all
weigh next to nothing, and none verifies."""
RECORD: Final = ("name", "rack", "description")
"""What its keeper may change later, beside the log."""
_BEGINNING: Final = 0
"""The time in an id made from content: the same line read on another day is still the same."""


class ListedParent(Struct, frozen=True):
    """As the list names it. Once it is found: ``line``, by number, in which it stands, or
    ``animal``, its id on record."""

    named: str
    line: int = 0
    animal: str = ""


class ListedAnimal(Struct, frozen=True, kw_only=True):
    """``sex``: as the list has it, with how ``sure``; ``hatched``, ``weighed``: days."""

    species: str
    tag: str = ""
    transponder: str = ""
    name: str = ""
    sex: Sex | None = None
    sure: bool = True
    hatched: str = ""
    sire: ListedParent | None = None
    dam: ListedParent | None = None
    grams: str = ""
    weighed: str = ""
    traits: tuple[str, ...] = ()
    rack: str = ""
    description: str = ""
    collection: str = ""

    @property
    def title(self) -> str:
        return self.name or self.tag or self.transponder

    @property
    def codes(self) -> tuple[str, ...]:
        return tuple(filter(None, (self.tag, self.transponder)))

    @property
    def parents(self) -> dict[Role, ListedParent]:
        """Those that it names."""
        named: dict[Role, ListedParent | None] = {"sire": self.sire, "dam": self.dam}
        return {role: one for role, one in named.items() if one}

    @property
    def record(self) -> dict[str, str]:
        """What is noted beside the log."""
        return {name: text for name in RECORD if (text := str(getattr(self, name)))}


class ContentIds:
    """Ids made from what is stated, so that the same list read twice states the same. ``secret``:
    whatever keeps others from making them ahead."""

    def __init__(self, secret: str, collection: str, draft: ListedAnimal) -> None:
        codes = [draft.tag, draft.transponder, draft.species, draft.hatched]
        named = [] if draft.tag or draft.transponder else [draft.name]
        self._of = [secret, collection, *codes, *named]

    @property
    def animal(self) -> str:
        return _id(self._of, -1)

    def fact(self, place: int) -> str:
        """Of one of those that are stated of every animal, in order."""
        return _id(self._of, place)

    def also(self, *about: str) -> str:
        """Of one that only some are stated with."""
        return _id([*self._of, *about], 0)

    def edit(self, fields: dict[str, str]) -> str:
        return _id([*self._of, fields], -2)


def _id(source: Sequence[object], place: int) -> str:
    """The same for the same content: a UUIDv7 whose random part is a digest of it."""
    content = msgspec.json.encode([source, place], order="deterministic")
    return str(uuid7(_BEGINNING, sha256(content).digest()[:10]))


def facts_of(
    draft: ListedAnimal,
    collection: str,
    ids: ContentIds,
    now: str,
    sex_from: str,
    parents: Mapping[Role, str],
) -> list[Fact]:
    """All that a line states, in the order it must be taken: the animal with its ``parents`` by
    their ids, its codes, its weight, and its sex as somebody's word. ``now``: RFC 3339, UTC."""
    body: dict[str, object] = {"species": draft.species, "hatched": draft.hatched}
    body |= {"traits": list(draft.traits), "sire": parents.get("sire"), "dam": parents.get("dam")}
    kept = {name: value for name, value in body.items() if value}
    stated = [("animal_registered", {"collection": collection, **kept})]
    codes = [("tag", draft.tag), ("transponder", draft.transponder)]
    stated += [
        ("identifier_assigned", {"scheme": scheme, "code": code}) for scheme, code in codes if code
    ]
    about = {"about": ids.animal}
    made = [
        {"id": ids.fact(place), "kind": kind, "at": now, "body": body, **about}
        for place, (kind, body) in enumerate(stated)
    ]
    if draft.grams:
        noted = {"noted": {"type": "weight", "grams": draft.grams}}
        at = now if now.startswith(draft.weighed) else f"{draft.weighed}T12:00:00.000Z"
        id = ids.also("weight", draft.grams, draft.weighed)
        made.append({"id": id, "kind": "husbandry_noted", "at": at, "body": noted, **about})
    if draft.sex and sex_from in SOURCES:
        call = _call(draft, sex_from)
        id = ids.also("sex", draft.sex, sex_from)
        made.append({"id": id, "kind": "call_made", "at": now, "body": call, **about})
    return made


def _call(draft: ListedAnimal, sex_from: str) -> dict[str, Any]:
    """Somebody's word, and theirs who knew the answer: never blind, never certain."""
    return {
        "conclusion": draft.sex,
        "sureness": "fairly_sure" if draft.sure else "unsure",
        "observed": SOURCES[sex_from][1],
        "identified": {"by": "keeper_said"},
        "held_by": "not_held",
        "told": draft.sex,
    }
