"""What a chance at a locus rests on, in words: who stated what, and why parents are not certain."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final
from uuid import UUID

from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pedigrees import PedigreeSeen, Relative, young_of
from scalewitness.domain.genetics.stated import Statement
from scalewitness.domain.genetics.stated_words import basis_in_words, statement_in_words
from scalewitness.domain.genetics.trade_words import chance_in_words, locus_in_words
from scalewitness.domain.genetics.traits import Locus
from scalewitness.domain.parents import (
    OF_KEPT_SPERM,
    OF_SECOND_MALE,
    STATED_WRONGLY,
    WITHOUT_SIRE,
    Doubt,
)

JUDGED: Final = "our judgement, no figure is published"
DOUBTS: Final[Mapping[Doubt, str]] = {
    "no_test": "No test confirmed it: it may be another "
    f"({chance_in_words(STATED_WRONGLY)}; {JUDGED}).",
    "kept_sperm": "The dam was with another male in the six years before, for which sperm is known "
    "to keep (Levine et al. 2021): it may be of that one "
    f"({chance_in_words(OF_KEPT_SPERM)}; {JUDGED}).",
    "second_male": "The dam was meant for another male in the same season: each of the young may "
    f"be of that one ({chance_in_words(OF_SECOND_MALE)}; {JUDGED}).",
    "sire_unnamed": "No sire is known to you: an animal of unknown origin is taken.",
    "dam_unnamed": "No dam is known to you: an animal of unknown origin is taken.",
    "own_ancestor": "As its parents are stated it would be its own ancestor: they are left out.",
}
ALONE: Final = (
    "No male on record was with the dam: she may have had it without one "
    f"({chance_in_words(WITHOUT_SIRE)}; our judgement, a page tells of up to 5 in 100 litters of "
    "wild pitvipers, Booth et al. 2012)."
)
TESTED_ALONE: Final = "A confirmed test of parents found that its dam had it without a male."


def rests_on(found: PedigreeSeen, one: Relative, locus: Locus) -> list[str]:
    """For the reader of the pedigree; whom it names have their identifiers with them."""
    return [
        *(f"It {line}." for line in _lines(one, locus)),
        *_of_parents(found, one, locus),
        *_of_young(found, one.id, locus),
        *_of_others(found, one, locus),
        *_doubts(one),
    ]


def _lines(one: Relative, locus: Locus) -> list[str]:
    return [stated_in_words(locus.species, each) for each in _at(one, locus)]


def stated_in_words(species: str, one: Statement) -> str:
    """``shows albino, as seen``."""
    return f"{statement_in_words(species, one)}, {basis_in_words(one)}"


def _of_parents(found: PedigreeSeen, one: Relative, locus: Locus) -> Iterator[str]:
    for role, parent in (("sire", one.sire), ("dam", one.dam)):
        known = found.relatives[parent] if parent else None
        if known and known.animal:
            for line in _lines(known, locus):
                yield f"Its {role} {title_of(known.animal)} {line}."


def _of_young(found: PedigreeSeen, animal: UUID, locus: Locus) -> Iterator[str]:
    young = young_of(found, animal)
    spoken = [one for one in young if _lines(one, locus)]
    if spoken:
        shown = sum(any(each.says == "shows" for each in _at(one, locus)) for one in spoken)
        yield (
            f"Of its {len(young)} young on record {len(spoken)} are spoken of: {shown} stated to "
            f"show {locus_in_words(locus)}, {len(spoken) - shown} not."
        )


def _of_others(found: PedigreeSeen, one: Relative, locus: Locus) -> Iterator[str]:
    near = {one.id, one.sire, one.dam, *(each.id for each in young_of(found, one.id))}
    others = sum(
        bool(_lines(each, locus)) for key, each in found.relatives.items() if key not in near
    )
    if others:
        yield f"Statements of {others} other relative{'s' if others > 1 else ''} that you may see."


def _doubts(one: Relative) -> Iterator[str]:
    for role, chances in (("Sire", one.sires), ("Dam", one.dams)):
        for doubt in chances.doubts:
            words = DOUBTS[doubt]
            yield words if doubt in ("sire_unnamed", "dam_unnamed") else f"{role}: {words}"
    if one.alone:
        yield TESTED_ALONE if one.alone == 1 else ALONE


def _at(one: Relative, locus: Locus) -> Iterable[Statement]:
    return (each for each in one.stated if each.locus == locus.key)
