"""How far a collection's examiners agree, in plain words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from scalewitness.domain.sexing.examiners.agreement_many import Agreement, Alpha
from scalewitness.domain.sexing.examiners.binomial import Interval
from scalewitness.examiners.agreement import RESAMPLES, CollectionAgreement, Pair, agreement_in
from scalewitness.examiners.figures import reproducible
from scalewitness.pages.collections.collection import stewarded
from scalewitness.pages.examiners.examiner import LISTED
from scalewitness.pages.home.titles import titles_of
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.plots.interval import AGREEMENT, TOO_FEW, Estimated, intervals
from scalewitness.people.models import Keeper

FEW = 20
"""Fewer animals than this that two examiners concluded on tell little (our judgement)."""
UNEVEN = 0.8
"""Chance agreement from which on one sex dominates the answers (our judgement): nine in ten
animals of one sex make it 0.82."""
POINT = 1e-9
"""An interval narrower than this is a point, but for rounding."""


@dataclass(frozen=True, slots=True)
class Measure:
    """A coefficient in words; ``interval`` and ``note`` are empty where there is none."""

    name: str
    value: str
    interval: str
    shares: str
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class TwoExaminers:
    """Two people over the animals both concluded on."""

    first: UUID
    first_name: str
    second: UUID
    second_name: str
    agreed: str
    kappa: str
    animals: list[tuple[UUID, str]]
    more: int


@signed_in
def show_agreement(request: HttpRequest, keeper: Keeper, collection_id: UUID) -> HttpResponse:
    """For whoever keeps the collection or is a partner in it."""
    collection = stewarded(keeper, collection_id)
    found = agreement_in(collection.pk, reproducible())
    titles = titles_of(one for pair in found.pairs for one in pair.behind[:LISTED])
    context = {
        "collection": collection,
        "found": found,
        "summary": summary(found),
        "measures": list(_measures(found)),
        "pairs": [_pair(one, found, titles) for one in found.pairs],
        "drawing": intervals("How far examiners agree", list(_estimates(found)), AGREEMENT),
        "tells": found.compared >= TOO_FEW,
        "cautions": list(cautions(found)),
        "few": FEW,
    }
    return page(request, "collections/agreement.html", context)


def summary(found: CollectionAgreement) -> str:
    """How many animals there are to go by, and how often examiners agreed on them."""
    if not found.animals:
        return "Nobody has concluded on an animal here without knowing an earlier answer."
    summary = f"{_animals(found.animals)} here {_were(found.animals)} concluded on blind"
    if not found.compared:
        return f"{summary}, none by two examiners, so there is nothing to compare yet."
    summary = f"{summary}, {found.compared} of them by two or more examiners."
    if found.fleiss is None:
        return f"{summary} Everyone gave one and the same answer."
    alike = f"{found.fleiss.observed:.0%}"
    return f"{summary} Two answers on the same animal were alike {alike} of the time."


def _measures(found: CollectionAgreement) -> Iterable[Measure]:
    several = found.compared > 1
    if found.fleiss is not None:
        yield _fleiss(found.fleiss, several)
    if found.krippendorff is not None:
        yield _alpha(found.krippendorff, several)


def _fleiss(found: Agreement, several: bool) -> Measure:
    return Measure(
        "Fleiss’ kappa",
        _signed(found.coefficient),
        _between(found.interval if several else None),
        _shares(found),
        "Fleiss 1971; interval after Gwet 2014",
    )


def _alpha(found: Alpha, several: bool) -> Measure:
    left_out = f"; {found.undefined} held one answer only and were left out"
    drawn = f"Its interval comes from {RESAMPLES} resamples of the animals"
    shown = found.interval if several else None
    return Measure(
        "Krippendorff’s alpha",
        _signed(found.alpha),
        _between(shown),
        _shares(found),
        "Krippendorff 2011; percentile bootstrap over animals",
        f"{drawn}{left_out if found.undefined else ''}." if shown else "",
    )


def _shares(found: Agreement | Alpha) -> str:
    return f"agreeing {found.observed:.0%}, by chance alone {found.expected:.0%}"


def _between(interval: Interval | None) -> str:
    """An interval, cut at full agreement: nothing lies beyond it. Where all animals came out
    alike it shrinks to a point, which would look like certainty."""
    if interval is None:
        return "no interval from a single animal"
    low, high = interval
    if high - low < POINT:
        return "no interval while all animals come out alike"
    return f"95 in 100 confidence: {_signed(low)} to {_signed(min(high, 1.0))}"


def _signed(value: float) -> str:
    return f"{value:.2f}".replace("-", "−")


def _estimates(found: CollectionAgreement) -> Iterable[Estimated]:
    """All together, then two by two."""
    if found.fleiss is not None:
        low, high = found.fleiss.interval
        value = found.fleiss.coefficient
        yield Estimated("All examiners", found.compared, value, low, min(high, 1.0), _signed(value))
    for pair in found.pairs:
        names = " and ".join(found.names.get(one, "unknown") for one in (pair.first, pair.second))
        if pair.kappa is None:
            yield Estimated(names, pair.animals)
            continue
        (low, high), value = pair.kappa.interval, pair.kappa.kappa
        yield Estimated(names, pair.animals, value, low, min(high, 1.0), _signed(value))


def _pair(pair: Pair, found: CollectionAgreement, titles: Mapping[UUID, str]) -> TwoExaminers:
    return TwoExaminers(
        first=pair.first,
        first_name=found.names.get(pair.first, "unknown"),
        second=pair.second,
        second_name=found.names.get(pair.second, "unknown"),
        agreed=f"{pair.agreed} of {_animals(pair.animals)}",
        kappa=_kappa(pair),
        animals=[(one, titles[one]) for one in pair.behind[:LISTED]],
        more=max(0, len(pair.behind) - LISTED),
    )


def _kappa(pair: Pair) -> str:
    if pair.kappa is None:
        return "cannot be told: both gave one same answer throughout"
    interval = pair.kappa.interval if pair.animals > 1 else None
    return f"{_signed(pair.kappa.kappa)}; {_between(interval)}"


def cautions(found: CollectionAgreement) -> Iterable[str]:
    """What keeps these figures from saying much."""
    yield "Examiners can agree and be wrong alike: the same animal may mislead them all."
    if not found.compared:
        return
    if found.compared < FEW:
        yield (
            f"Only {_animals(found.compared)} to go by. Below {FEW} or so the figures may change "
            "much with the next one, and the intervals are rougher than they look."
        )
    if found.fleiss is None:
        yield "With one answer throughout, agreement cannot be told from chance."
        return
    if found.fleiss.observed == 1:
        yield (
            "Nobody disagreed yet. These animals cannot tell how often somebody will, so no "
            "interval is given; it does not mean that nobody ever will."
        )
    if found.fleiss.expected > UNEVEN:
        yield (
            "Nearly all answers name one sex. The coefficients then come out low although "
            "examiners agree as often as before."
        )


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def _animals(count: int) -> str:
    return f"{count} animal{'' if count == 1 else 's'}"
