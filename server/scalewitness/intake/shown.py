"""What an offer shows its buyer: now, and as it was at an earlier position of the log."""

from collections.abc import Collection, Iterable
from operator import attrgetter
from uuid import UUID

import msgspec
from django.db.models import prefetch_related_objects

from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.queries import fields_at
from scalewitness.animals.queries.transponders import borne_at
from scalewitness.domain.facts import AnimalAsShown, OfferMade, Particulars, WhatWasShown
from scalewitness.domain.genetics.stated_words import basis_in_words, statement_in_words
from scalewitness.domain.offer_shown import Moved, ShownAnimal, ShownOffer, moved
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import still_there
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import label_of, latest_standings, standings_at
from scalewitness.traits.queries import as_statements, claims_named
from scalewitness.traits.queries.claims import gone_at

TERMS = ("recheck_days", "remedy", "days_to_pay", "expires")
EVEN_CHANCE = "0.500000"


def shown_now(sale: Sale, offer: SaleStep) -> ShownOffer:
    """As the record has it now."""
    animals = sorted(sale.animals.all(), key=attrgetter("pk"))
    prefetch_related_objects(animals, "identifiers")
    standings = latest_standings(one.pk for one in animals)
    claims = claims_shown(offer, None)
    return ShownOffer(
        str(offer.pk),
        _terms(offer),
        tuple(
            ShownAnimal(
                animal=str(one.pk),
                name=one.name if still_there(one, sale) else "",
                version=one.version,
                species=one.species,
                hatched=one.hatched.isoformat() if one.hatched else "",
                traits=tuple(one.traits),
                codes=_codes(sorted(one.identifiers.all(), key=attrgetter("position"))),
                label=label_of(standings.get(one.pk)),
                claims=tuple(claims.get(one.pk, ())),
                **_chances(standings.get(one.pk)),
            )
            for one in animals
        ),
    )


def _terms(offer: SaleStep) -> dict[str, str | int]:
    body = msgspec.convert(offer.body, OfferMade)
    return {name: getattr(body, name) for name in TERMS}


def moved_since(shown: WhatWasShown, seen: int, offer: SaleStep, now: ShownOffer) -> list[Moved]:
    """What is different ``now`` from what was ``shown``, of the same animals in the same order, of
    the ``offer`` at the position ``seen``."""
    pairs, earlier = zip(now.animals, shown.animals, strict=True), Earlier(now, seen, offer)
    was = tuple(_as_shown(one, before, earlier) for one, before in pairs)
    return moved(ShownOffer(str(offer.pk), _terms(offer), was), now)


class Earlier:
    """What the log tells of the animals at an earlier position, read for all of them at once."""

    def __init__(self, shown: ShownOffer, seen: int, offer: SaleStep) -> None:
        ids = [UUID(one.animal) for one in shown.animals]
        self.claims = claims_shown(offer, seen)
        self.standings = standings_at(ids, seen)
        self.codes = borne_at(ids, seen)
        self.particulars = _particulars_at(ids, seen)


def _as_shown(now: ShownAnimal, shown: AnimalAsShown, earlier: Earlier) -> ShownAnimal:
    """The log tells what it was at that position; its name and the very probabilities that were
    shown are the confirmation's to say."""
    animal = UUID(now.animal)
    particulars = earlier.particulars[animal]
    same = shown.version == now.version
    return ShownAnimal(
        animal=now.animal,
        name=now.name if same else _name_at(Animal.objects.get(pk=animal), shown.version),
        version=shown.version,
        species=particulars.species,
        hatched=particulars.hatched or "",
        traits=tuple(particulars.traits),
        codes=_codes(earlier.codes.get(animal, [])),
        label=label_of(earlier.standings.get(animal)),
        claims=tuple(earlier.claims.get(animal, ())),
        **_chances(shown),
    )


def claims_shown(offer: SaleStep, at: int | None) -> dict[UUID, list[str]]:
    """By animal, the claims that the offer represents, in words, with what had become of each at
    that log position, now when None."""
    named = [UUID(one.stated) for one in msgspec.convert(offer.body, OfferMade).claims]
    if not named:
        return {}
    rows = claims_named(named)
    words = {one.id: one for one in as_statements(rows.values())}
    gone, found = gone_at(named, at), dict[UUID, list[str]]()
    for id in named:
        one = words[id]
        stated = statement_in_words(rows[id].animal.species, one)
        who = "the seller" if one.by == offer.sale.collection.keeper_id else "somebody else"
        line = f"{stated}, {basis_in_words(one)}; stated by {who}{gone.get(id, '')}"
        found.setdefault(one.animal, []).append(line)
    return found


def _name_at(animal: Animal, version: int) -> str:
    fields = fields_at(animal, version)
    return str(fields["name"]) if fields else ""


def _codes(codes: Iterable[Identifier]) -> tuple[str, ...]:
    return tuple(f"{one.scheme} {one.code}" for one in codes)


def _chances(source: Standing | AnimalAsShown | None) -> dict[str, str]:
    names = ("p_male", "p_male_pessimistic")
    return {name: getattr(source, name) if source else EVEN_CHANCE for name in names}


def _particulars_at(animals: Collection[UUID], seen: int) -> dict[UUID, Particulars]:
    """Of one that was registered since, the first."""
    kinds = ("animal_registered", "particulars_corrected")
    entries = Entry.objects.filter(about__in=animals, kind__in=kinds).order_by("position")
    found: dict[UUID | None, Entry] = {}
    for entry in entries:
        if entry.about not in found or entry.position <= seen:
            found[entry.about] = entry
    return {animal: _particulars(found[animal]) for animal in animals}


def _particulars(entry: Entry) -> Particulars:
    body = leaf_of(entry).body
    return Particulars(
        species=body["species"], hatched=body.get("hatched"), traits=tuple(body.get("traits", ()))
    )
