"""An animal's ancestors as they are drawn: as far as its reader may see them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final
from uuid import UUID

from django.urls import reverse

from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pedigrees import (
    PedigreeSeen,
    Relative,
    ancestry,
    with_identifiers,
)
from scalewitness.domain.consequences import sex_of
from scalewitness.pages.breeding.paired import NOT_SEEN
from scalewitness.pages.plots.pedigree import Ancestor, Sex
from scalewitness.standings.queries.logged import label_of

GENERATIONS: Final = 3
"""Drawn above the animal: more would not fit a sheet of paper."""
LINES = Mapping[UUID, Sequence[str]]


def drawn_with(found: PedigreeSeen, animals: Iterable[UUID]) -> set[UUID]:
    """These and whoever is drawn above them; their identifiers are read together."""
    drawn = set[UUID]().union(*(ancestry(found, one, GENERATIONS) for one in animals))
    with_identifiers(found, drawn)
    return drawn


def ancestors_of(found: PedigreeSeen, animal: UUID, carries: LINES) -> Ancestor:
    """As `drawn_with`; ``carries``: of each animal, a line for each locus."""
    return _ancestor(found, found.relatives[animal], "", carries, GENERATIONS, tested=False)


def _ancestor(
    found: PedigreeSeen, one: Relative, role: str, carries: LINES, left: int, *, tested: bool
) -> Ancestor:
    label = label_of(one.standing) if one.animal else "of which you are told no more"
    parents = {
        name: _ancestor(
            found, found.relatives[parent], name, carries, left - 1, tested=not chances.doubts
        )
        for name, parent, chances in (("sire", one.sire, one.sires), ("dam", one.dam, one.dams))
        if parent and left
    }
    return Ancestor(
        title=title_of(one.animal) if one.animal else NOT_SEEN.capitalize(),
        sex=_sex(label, role),
        label=label,
        carries=tuple(carries.get(one.id, ())),
        address=reverse("animal", args=[one.id]) if one.animal else "",
        tested=tested,
        sire=parents.get("sire"),
        dam=parents.get("dam"),
    )


def _sex(label: str, role: str) -> Sex:
    """By its standing; of one that is unsexed or contested, what it is stated to have been."""
    return sex_of(label) or {"sire": "male", "dam": "female"}.get(role, "")  # type: ignore[return-value]
