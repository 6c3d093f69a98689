"""An animal as its buyer reads of it."""

from collections.abc import Iterable, Mapping
from typing import Any, Final
from uuid import UUID

import msgspec
from django.utils import timezone

from scalewitness.animals.models import Animal, Photo
from scalewitness.calls.queries.held import late_checks_of
from scalewitness.calls.queries.visibility import reader_of
from scalewitness.disclosures.queries import case_for_buyer, readable_by_buyer
from scalewitness.domain.cautions import COMPARE_ITS_CODE
from scalewitness.domain.facts import OfferMade, Representation
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.examiners.settled import settled_behind
from scalewitness.intake.shown import claims_shown
from scalewitness.pages.animals.evidence import (
    CallInWords,
    for_buyer,
    late_in_words,
    lines_of,
    of_the_animal,
    sensitivity_of,
)
from scalewitness.pages.animals.settled import own_records
from scalewitness.pages.home.titles import name_in, title_in
from scalewitness.pages.plots.of_case import depths_of
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import codes_known, deal_ended
from scalewitness.sales.queries.returns import Return, last_return
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.dossier import Dossier
from scalewitness.standings.queries.logged import label_of, latest_standing, latest_standings

BEFORE_THE_CODE: Final = 2
"""Cautions of the record that stand before the one to compare the code: three lines are read, a
page of them is not (our judgement)."""


def animal_view(animal: Animal, sale: Sale, offer: SaleStep) -> dict[str, Any]:
    """What the page of an offer shows of one of its animals."""
    theirs = readable_by_buyer(animal, sale)
    case = case_for_buyer(animal, sale, theirs)
    offered = msgspec.convert(offer.body, OfferMade)
    was = next(one for one in offered.represents if one.animal == str(animal.pk))
    now, calls = case.standing, calls_of(case, sale)
    by = sale.buyer.keeper_id
    settled = settled_behind(case, reader_of(by, timezone.now()) if by else None)
    cautions = [line.text for line in lines_of(case, "caution")]
    return {
        "id": animal.pk,
        "title": name_in(sale, animal),
        "taxon": taxon(animal.species),
        "hatched": animal.hatched,
        "traits": animal.traits,
        "returned": _last_return(animal),
        "ended": animal.ended,
        "ended_at": animal.ended_at,
        "identifiers": codes_known(animal, sale),
        "was": msgspec.to_builtins(was),
        "was_fact": _standing_fact(case, was.position),
        "claims": claims_shown(offer, None).get(animal.pk, ()),
        "moved": (now.label if now else "unsexed") != was.label,
        "case": case,
        "theirs": theirs,
        "short": case.short,
        "calls": calls,
        "settled": own_records(settled, calls),
        **_pictures(of_the_animal(case), offer.position),
        "depths": depths_of(case),
        "answer": lines_of(case, "answer"),
        "reasons": lines_of(case, "reason"),
        "cautions": [*cautions[:BEFORE_THE_CODE], COMPARE_ITS_CODE],
        "more_cautions": cautions[BEFORE_THE_CODE:],
        "sensitivity": sensitivity_of(case),
        "late": late_in_words(case.late),
    }


def then_and_now(sale: Sale, offer: SaleStep | None) -> list[dict[str, Any]]:
    """Of each animal what the buyer was told, and what the record says now, or said when the deal
    ended: what comes later is for others."""
    animals = {str(one.pk): one for one in sale.animals.all()}
    offered = msgspec.convert(offer.body, OfferMade).represents if offer else ()
    now = latest_standings(UUID(one.animal) for one in offered)
    return [_compared(one, animals[one.animal], sale, now) for one in offered]


def _compared(
    was: Representation, animal: Animal, sale: Sale, now: Mapping[UUID, Standing]
) -> dict[str, Any]:
    standing, until = now.get(animal.pk), None
    if deal_ended(animal, sale) is not None:
        theirs = readable_by_buyer(animal, sale)
        standing, until = latest_standing(animal.pk, theirs.at), theirs.until
    return {
        "id": animal.pk,
        "title": title_in(sale, animal),
        "was": was.label,
        "now": label_of(standing),
        "standing": standing,
        "late": late_in_words(late_checks_of(animal.pk, until)),
    }


def calls_of(case: Dossier, sale: Sale) -> list[CallInWords]:
    return for_buyer(case, sale.collection.keeper_id, sale.buyer.keeper_id, timezone.now())


def _pictures(photos: Iterable[Any], offered: int) -> dict[str, list[Photo]]:
    """The newest photo of it from before it was ``offered``, and the others; as `photos_of` has
    them."""
    there = [one for one in photos if one.has_file and one.position < offered]
    return {"portrait": there[-1:], "photos": [one for one in photos if one not in there[-1:]]}


def _last_return(animal: Animal) -> Return | None:
    """Hardly any came back; its moves were read with the sale."""
    came_back = any(one.why == "returned" for one in animal.custody.all())
    return last_return(animal.pk, timezone.now()) if came_back else None


def _standing_fact(case: Dossier, position: int) -> UUID | None:
    """The fact that stated the standing; an animal without any call is offered on none."""
    return next((one.pk for one in case.standings if one.position == position), None)
