"""What a keeper's statement of linkage does to the chance that an answer starts from.

The statement is an interested one: the parents may not be the parents, the linkage phase
misremembered, the young misread. So the chance p that the trait gives is mixed with an even
one,

    π = (1 − w) · p + w · ½,

w being the share of such statements taken to be wrong (our judgement; the pessimistic set
has a larger one). No statement alone reaches what a label needs, and none is a check.
"""

from fractions import Fraction

from msgspec import Struct

from scalewitness.domain.facts import LinkageStated, Particulars
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.linked_trait import (
    LinkedPrior,
    Parents,
    linked_prior,
    linked_traits,
    p_male,
)
from scalewitness.domain.sexing.parameters import Parameter, Parameters, ParameterSet, Status
from scalewitness.domain.sexing.tables import table

MISSTATED = "linkage.misstated"
"""The number's name; a version of the numbers without it takes no statement of linkage."""


class Origin(Struct, frozen=True):
    """What the particulars say that a statement of linkage rests on."""

    species: str
    sire: str | None = None
    dam: str | None = None


def origin_stated(particulars: Particulars) -> Origin:
    """What particulars state of it."""
    return Origin(particulars.species, particulars.sire, particulars.dam)


class Start(Struct, frozen=True):
    """The chance of male before any check, under both sets, with its ends over the plausible
    fractions of recombination and shares of wrong statements. ``stated`` counts only where
    ``alone`` is given: what the trait would say were every word of it right."""

    male: float = 0.5
    pessimistic: float = 0.5
    low: float = 0.5
    high: float = 0.5
    stated: LinkageStated | None = None
    alone: LinkedPrior | None = None
    used: tuple[Parameter, ...] = ()

    @property
    def range(self) -> tuple[float, float] | None:
        """The ends, None where nothing is uncertain about an even start."""
        return (self.low, self.high) if self.low < self.high else None


EVEN = Start()


def start_from(stated: LinkageStated | None, origin: Origin, parameters: Parameters) -> Start:
    """Where the answer starts. Even unless a statement names the parents and the species that
    the particulars name. Raises KeyError for a trait nobody knows, ImpossibleYoung and
    ValueError as :func:`linked_prior`; intake takes no such statement."""
    if stated is None or not _counts(stated, origin, parameters):
        return Start(stated=stated)
    alone = chance_alone(stated)
    base, pessimistic = (numbers.value(MISSTATED) for numbers in _sets(parameters))
    low, high = _ends(alone)
    return Start(
        male=_mixed(alone.p_male, base),
        pessimistic=_mixed(alone.p_male, pessimistic),
        low=low,
        high=high,
        stated=stated,
        alone=alone,
        used=tuple(_used(stated, parameters)),
    )


def favoured_by(prior_male: float) -> Sex | None:
    """The sex a prior favours, None where it is even."""
    if prior_male == 0.5:
        return None
    return "male" if prior_male > 0.5 else "female"


def chance_alone(stated: LinkageStated) -> LinkedPrior:
    """What the trait says if every word of the statement is right, for the fraction it gives;
    the ends also cover the fractions keepers speak of. Raises as :func:`start_from`."""
    trait = linked_traits()[stated.trait]
    parents = Parents(stated.sire_copies, stated.dam_copies, stated.beside)
    usual = linked_prior(trait, parents, stated.shows)
    at = float(p_male(trait.system, parents, stated.shows, Fraction(stated.recombination)))
    return LinkedPrior(at, min(at, usual.low), max(at, usual.high), usual.cautions)


def _counts(stated: LinkageStated, origin: Origin, parameters: Parameters) -> bool:
    """A statement is about these parents and this species, and lapses with either."""
    return (
        MISSTATED in parameters.base.numbers
        and linked_traits()[stated.trait].species == origin.species
        and (stated.sire, stated.dam) == (origin.sire, origin.dam)
    )


def _sets(parameters: Parameters) -> tuple[ParameterSet, ParameterSet]:
    return parameters.base, parameters.pessimistic


def _mixed(p: float, wrong: float) -> float:
    return (1 - wrong) * p + wrong / 2


def _ends(alone: LinkedPrior) -> tuple[float, float]:
    given = table("sensitivity.toml")["numbers"][MISSTATED]
    wrong = float(given["low"]), float(given["high"])
    reached = [_mixed(p, w) for p in (alone.low, alone.high) for w in wrong]
    return min(reached), max(reached)


_STATUS: dict[str, Status] = {
    "keepers_speak_of": "common practice",
    "own_clutches": "from memory",
    "study": "from memory",
}
FROM = {
    "keepers_speak_of": "what keepers speak of",
    "own_clutches": "the keeper's own clutches",
    "study": "a study the keeper names",
}
"""In words, where a keeper has the fraction of recombination from."""


def _used(stated: LinkageStated, parameters: Parameters) -> list[Parameter]:
    fraction = Parameter(
        f"{stated.trait}.recombination",
        float(stated.recombination),
        _STATUS[stated.provenance],
        source=f"stated by its keeper, from {FROM[stated.provenance]}",
        of="linkage",
    )
    return [fraction, *(numbers.numbers[MISSTATED] for numbers in _sets(parameters))]
