"""What young prove, in sentences."""

from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.pedigrees import PedigreeSeen
from scalewitness.breeding.queries.proving import ProvedByYoung, YoungNeeded
from scalewitness.domain.genetics.trade_words import chance_in_words

NOT_SEEN = "a mate that you may not see"


def would_prove(found: PedigreeSeen, one: YoungNeeded) -> str:
    """``5 young more, none showing it, make it 95 in 100 sure that Barnaby carries no albino.``"""
    title, trait = _title(found, one), one.allele.replace("_", " ")
    now = f"That {title} carries {trait}: {chance_in_words(one.carries)}."
    if one.needed is None:
        return f"{now} No number of plain young of the two shows that it does not."
    return (
        f"{now} It takes {one.needed} young more, none showing it, to be 95 in 100 sure that it "
        "does not."
    )


def have_proved(found: PedigreeSeen, one: ProvedByYoung) -> str:
    mate = found.relatives[one.mate].animal
    with_whom = title_of(mate) if mate else NOT_SEEN
    return (
        f"{one.young} young with {with_whom} were stated not to show it. "
        f"{would_prove(found, one.proving)}"
    )


def _title(found: PedigreeSeen, one: YoungNeeded) -> str:
    animal = found.relatives[one.parent].animal
    return title_of(animal) if animal else NOT_SEEN
