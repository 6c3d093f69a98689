"""Agreement between examiners as shown."""

from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.people import Person, named
from scalewitness.domain.sexing.examiners.agreement import Cohen
from scalewitness.domain.sexing.examiners.agreement_many import Agreement, Alpha
from scalewitness.domain.sexing.examiners.binomial import Interval
from scalewitness.examiners.agreement import RESAMPLES, CollectionAgreement, Pair
from scalewitness.examiners.figures import SEED


class Coefficient(Struct, frozen=True):
    """A measure of agreement beyond chance, 1 at most, with its 95% interval (None for a
    single animal), the shares of agreement behind it and the published ``source``."""

    value: float
    observed: float
    expected: float
    low: float | None
    high: float | None
    source: str


class PairShown(Struct, frozen=True):
    """``kappa`` is None when both gave one same answer throughout."""

    first: Person
    second: Person
    animals: int
    agreed: int
    kappa: Coefficient | None


class AgreementShown(Struct, frozen=True):
    """``animals`` with a blind conclusion, ``compared`` of them with two or more, as of log
    position ``as_of``. The interval of alpha comes from ``resamples`` drawn from a fixed
    ``seed``, so that it is the same for everyone; ``undefined`` of them held one answer
    only and were left out."""

    collection: UUID
    as_of: int
    animals: int
    compared: int
    fleiss_kappa: Coefficient | None
    krippendorff_alpha: Coefficient | None
    resamples: int
    undefined: int
    seed: int
    pairs: list[PairShown]


def agreement(collection: UUID, found: CollectionAgreement) -> AgreementShown:
    alpha, several = found.krippendorff, found.compared > 1
    return AgreementShown(
        collection=collection,
        as_of=found.as_of,
        animals=found.animals,
        compared=found.compared,
        fleiss_kappa=_fleiss(found.fleiss, several) if found.fleiss else None,
        krippendorff_alpha=_alpha(alpha, several) if alpha else None,
        resamples=RESAMPLES,
        undefined=alpha.undefined if alpha else 0,
        seed=SEED,
        pairs=[_pair(pair, dict(found.names)) for pair in found.pairs],
    )


def _fleiss(found: Agreement, several: bool) -> Coefficient:
    source = "Fleiss 1971; interval after Gwet 2014"
    return _coefficient(
        (found.coefficient, found.observed, found.expected),
        found.interval if several else None,
        source,
    )


def _alpha(found: Alpha, several: bool) -> Coefficient:
    source = "Krippendorff 2011; percentile bootstrap over animals"
    return _coefficient(
        (found.alpha, found.observed, found.expected), found.interval if several else None, source
    )


def _pair(pair: Pair, names: dict[UUID, str]) -> PairShown:
    return PairShown(
        first=named(pair.first, names),
        second=named(pair.second, names),
        animals=pair.animals,
        agreed=pair.agreed,
        kappa=_cohen(pair.kappa, pair.animals > 1) if pair.kappa else None,
    )


def _cohen(found: Cohen, several: bool) -> Coefficient:
    source = "Cohen 1960; interval after Fleiss, Cohen and Everitt 1969"
    return _coefficient(
        (found.kappa, found.observed, found.expected), found.interval if several else None, source
    )


def _coefficient(
    shares: tuple[float, float, float], interval: Interval | None, source: str
) -> Coefficient:
    low, high = interval or (None, None)
    return Coefficient(*shares, low, high, source)
