"""A keeper's statement of linkage, and what it weighs, in sentences."""

from collections.abc import Iterable

from scalewitness.domain.facts import LinkageStated
from scalewitness.domain.sexing.explain import ReasonLine
from scalewitness.domain.sexing.linked_trait import LinkedPrior
from scalewitness.domain.sexing.stated_linkage import FROM, Start
from scalewitness.domain.sexing.words import chance


def linkage_lines(start: Start) -> tuple[ReasonLine, ...]:
    """The statement and its cautions in sentences; none where nothing was stated."""
    if start.stated is None:
        return ()
    if start.alone is None:
        return (ReasonLine("reason", _DOES_NOT_COUNT),)
    return (
        ReasonLine("reason", f"{_statement(start.stated)} {_weight(start, start.alone)}"),
        *(ReasonLine("caution", text) for text in start.alone.cautions),
    )


def with_linkage(lines: Iterable[ReasonLine], start: Start) -> tuple[ReasonLine, ...]:
    """An answer's lines with those about the statement, each kind in the order given."""
    return tuple(sorted((*lines, *linkage_lines(start)), key=lambda line: _ORDER.index(line.kind)))


_ORDER = ("answer", "reason", "call", "caution")


_DOES_NOT_COUNT = (
    "Its keeper stated how a trait is inherited with sex, which does not count: it names other "
    "parents or another species than the particulars do, or the numbers in force take none."
)
_SHOWS = {
    "nothing": "shows nothing of {}",
    "one_copy": "shows one copy of {}",
    "two_copies": "shows two copies of {}",
    "some_copies": "shows {}, in one copy or two",
}
_COPIES = ("no copy", "one copy", "two copies")


def _statement(stated: LinkageStated) -> str:
    shows = _SHOWS[stated.shows].format(stated.trait.replace("_", " "))
    sire, dam = _COPIES[stated.sire_copies], _COPIES[stated.dam_copies]
    phase = "on which side is not known"
    if stated.beside is not None:
        phase = f"beside the {stated.beside}"
    return (
        f"Its keeper states that it {shows}, that the sire has {sire} and the dam {dam} "
        f"({phase}), and that the trait changes over in {_hundred(stated.recombination)} in 100 "
        f"({FROM[stated.provenance]})."
    )


def _hundred(share: str) -> str:
    return f"{100 * float(share):.4g}"


def _weight(start: Start, alone: LinkedPrior) -> str:
    if start.male == 0.5:
        return "That says nothing about its sex."
    sex = "male" if start.male > 0.5 else "female"
    as_stated, counted = (p if sex == "male" else 1 - p for p in (alone.p_male, start.male))
    return (
        f"Were all of that right, {chance(as_stated)} such young would be {sex}; being the word of "
        f"someone with a share in the animal it starts the answer at {chance(counted)}."
    )
