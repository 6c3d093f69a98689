"""What people state of the traits of an animal, as values: the words of it, and one statement."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Final, Literal
from uuid import UUID

Says = Literal["shows", "does_not_show", "carries_one", "carries_two", "carries_none", "may_carry"]
"""Of a look: whether it is there. Of an allele: how many copies there are; ``may_carry``: one, with
a chance."""
Basis = Literal["seen", "claimed", "parents", "young", "dna"]
"""How whoever states it knows: by looking; by whom they have the animal from; from its parents, or
its young; by a laboratory's test."""

SAYS_IN_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "shows": "shows",
        "does_not_show": "does not show",
        "carries_one": "carries one copy of",
        "carries_two": "carries two copies of",
        "carries_none": "carries no copy of",
        "may_carry": "may carry",
    }
)
"""Before the name of the trait."""
BASES_IN_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "seen": "as seen",
        "claimed": "as claimed by whom it came from",
        "parents": "as known from its parents",
        "young": "as known from its young",
        "dna": "by a DNA test",
    }
)
SEEN: Final = frozenset({"shows", "does_not_show"})
"""All that looking at an animal can tell."""


@dataclass(frozen=True, slots=True)
class Statement:
    """What ``by`` stated of the animal. ``locus``: a key of the species' sheet; None: it is about
    what ``words`` say, and nothing is computed from it. ``allele``: None where the locus has one
    beside the wild type. ``chance``: for "may_carry" alone, as it was sold. ``words``,
    ``laboratory``, ``sample`` and ``note`` are empty where there are none or they were erased.
    ``withdrawn``: when, by whoever stated it. ``fell``: its proved parents speak against it."""

    id: UUID
    position: int
    animal: UUID
    by: UUID
    at: datetime
    says: Says
    basis: Basis
    locus: str | None = None
    allele: str | None = None
    chance: float | None = None
    words: str = ""
    laboratory: str = ""
    sample: str = ""
    note: str = ""
    withdrawn: datetime | None = None
    fell: bool = False
