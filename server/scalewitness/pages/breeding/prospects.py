"""What a pairing of two animals should bring, planned or not."""

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.db.models import QuerySet, prefetch_related_objects
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.breeding.queries.brings import clutch_of
from scalewitness.breeding.queries.prospects import Mate, PairSeen, more_male_first, prospects_of
from scalewitness.breeding.queries.proving import YoungNeeded, provings
from scalewitness.breeding.queries.proving_words import would_prove
from scalewitness.calls.queries.visibility import animal_open, visible_animals
from scalewitness.domain.genetics.kinship_words import kinship_in_words
from scalewitness.domain.genetics.trade_words import chance_in_words
from scalewitness.domain.season.before_pairing import TIME_OF_YEAR
from scalewitness.pages.breeding.brings import brings_shown
from scalewitness.pages.breeding.carrying import numbers_of
from scalewitness.pages.breeding.paired import title_seen
from scalewitness.pages.breeding.prospects_form import ProspectsForm
from scalewitness.pages.parts.access import page, signed_in
from scalewitness.pages.parts.picking import AnimalsToPick, is_search, offer
from scalewitness.people.models import Keeper

NOT_WORKED_OUT = {
    "too_tangled": "The pedigree of the two together is too tangled to be worked out here. What "
    "each of them carries is on its own page.",
    "contradiction": "What is stated of their traits or sexes cannot all be so: no genotypes of "
    "the two fit it. Look for a parent, a look or a test that is wrong.",
    "cross": "Of a cross nothing is worked out: what a trait of one species does in the other is "
    "not published where we could read it.",
    "nothing_stated": "Nothing that can be computed is stated of the two or of a relative that "
    "you may see.",
}


@signed_in
def show_prospects(request: HttpRequest, keeper: Keeper, animal_id: UUID) -> HttpResponse:
    """For whoever sees both whole. Nothing is recorded by asking."""
    now = timezone.now()
    animal = animal_open(keeper.pk, animal_id, now)
    asked = {name: request.GET.get(name) for name in ("mate", "season", "eggs", "least", "cross")}
    bound = not is_search(request) and bool(asked["mate"])
    form = ProspectsForm(request.GET if bound else None, initial=asked, animal=animal)
    offer(request, form, {"mate": _others(keeper, animal, cross=bool(asked["cross"]))})
    context: dict[str, Any] = {"animal": animal, "title": title_of(animal), "form": form}
    if bound and form.is_valid():
        given = form.cleaned_data
        season = given["season"] or now.year + 1
        both = more_male_first(animal.pk, UUID(given["mate"]))
        pair = prospects_of(keeper.pk, *both, season, now)
        context |= pair_shown(pair, given["eggs"], given["least"] or 1)
    status = 422 if form.errors else 200
    return page(request, "breeding/prospects.html", context, status=status)


def _others(keeper: Keeper, animal: Animal, *, cross: bool) -> AnimalsToPick:
    now = timezone.now()
    whole = visible_animals(keeper.pk, now).filter(sight="all").exclude(pk=animal.pk)
    rows: QuerySet[Any] = whole.filter(ended="")
    if not cross:
        rows = rows.filter(species=animal.species)
    return AnimalsToPick(rows, keeper.pk, now, allowed=whole)


def pair_shown(pair: PairSeen, eggs: int | None, least: int) -> dict[str, Any]:
    """All that the page says of it."""
    both = [pair.sire, pair.dam]
    prefetch_related_objects([mate.animal for mate in both], "identifiers")
    clutch = clutch_of(pair.sire.animal.species, eggs)
    return {
        "pair": pair,
        "sire": title_of(pair.sire.animal),
        "dam": title_of(pair.dam.animal),
        "together": chance_in_words(pair.together),
        "strictly": chance_in_words(pair.strictly),
        "falls": list(_falls(pair)),
        "kinship": kinship_in_words(pair.kinship.coefficient, pair.kinship.generations),
        "cautions": [(title_of(mate.animal), mate) for mate in both if mate.cautions],
        "time_of_year": TIME_OF_YEAR,
        "clutch": clutch,
        **_to_plan(pair),
        "proof": [would_prove(pair.found, one) for one in _provings(pair)],
        "brings": brings_shown(pair, pair.brings, clutch, least) if pair.brings else None,
        "why_not": NOT_WORKED_OUT[pair.why] if pair.why else "",
        "harmed": [
            (one.harm.caution, chance_in_words(one.chance), one.harm) for one in pair.harmed
        ],
        "numbers": numbers_of(pair.stock.loci),
    }


def _to_plan(pair: PairSeen) -> dict[str, Any]:
    """Of which of the two its reader may plan it, as they hold it, and with whom."""
    both = (pair.sire.animal, pair.dam.animal)
    for animal, mate in (both, both[::-1]):
        if animal.collection_id in pair.found.reader.holds and not animal.ended:
            return {"plan": animal.pk, "plan_with": mate.pk}
    return {}


def _provings(pair: PairSeen) -> list[YoungNeeded]:
    if pair.brings is None:
        return []
    return provings(pair.brings, pair.stock.loci, pair.sire.animal.pk, pair.dam.animal.pk)


def _falls(pair: PairSeen) -> Iterator[str]:
    """What is left if either is not what it is meant to be."""
    for mate, other in ((pair.sire, pair.dam), (pair.dam, pair.sire)):
        wrong = "female" if mate.sex == "male" else "male"
        plainly, strictly = (chance_in_words(1 - one) for one in (mate.plainly, mate.strictly))
        yield (
            f"If {title_of(mate.animal)} is a {wrong} ({plainly}; trusting every call less, "
            f"{strictly}), this pairing brings nothing. {_left(other)}"
        )


def _left(other: Mate) -> str:
    title = title_of(other.animal)
    mates = [
        title_seen(pairing.sire if other.sex == "female" else pairing.dam)
        for pairing in other.others
    ]
    if not mates:
        return f"Nothing else is planned with {title} for the season, as far as you may see."
    return f"{title} is planned with {', '.join(mates)} as well."
