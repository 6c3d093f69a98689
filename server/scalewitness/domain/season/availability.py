"""Whether an animal is there to breed in a season, as planning proposes it. By hand anything
goes."""

from datetime import date

from msgspec import Struct

from scalewitness.domain.season.before_pairing import DAYS_OF_MONTH
from scalewitness.domain.season.reproduction import breeding_figures
from scalewitness.domain.season.values import Availability


class Breeder(Struct, frozen=True):
    """What is known of it. ``male``: the chance of that; ``last_young``: when the last young that
    it is stated to be the dam of hatched. ``held_off``: its keeper asks to leave it alone;
    ``offered``: to whoever plans, by another keeper."""

    species: str
    male: float
    hatched: date | None = None
    grams: float | None = None
    last_young: date | None = None
    on_sale: bool = False
    on_loan: bool = False
    held_off: bool = False
    offered: bool = False


def availability(one: Breeder, today: date, season: int) -> Availability:
    """The first that speaks against it. An age or weight that is not known speaks against none.
    For whoever is offered it, that it is for sale does not."""
    found = _availability(one, today, season)
    return "offered" if one.offered and found == "ready" else found


def _availability(one: Breeder, today: date, season: int) -> Availability:
    if one.on_sale and not one.offered:
        return "for_sale"
    if one.on_loan:
        return "on_loan"
    figures = breeding_figures(one.species)
    first = figures.first.get("male" if one.male >= 0.5 else "female")
    months = None if one.hatched is None else (today - one.hatched).days / DAYS_OF_MONTH
    if first and _below(months, first.months):
        return "too_young"
    if first and _below(one.grams, first.grams):
        return "too_light"
    rest = figures.rest.seasons if figures.rest else 1
    rested = one.last_young is None or season - one.last_young.year >= rest
    return "ready" if rested and not one.held_off else "resting"


def _below(known: float | None, least: float | None) -> bool:
    return known is not None and least is not None and known < least
