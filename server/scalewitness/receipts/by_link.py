"""Which entries a buyer may have the receipt of: what their link shows, and no more."""

from collections.abc import Iterator
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import readable_by_buyer
from scalewitness.domain.errors import NotFound
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import AnyEntry, entry_of, leaf_of
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.standings.queries.logged import latest_standing

FOR_DISCLOSURES = frozenset({"disclosure_owed", "disclosure_acknowledged"})


def entry_shown(link: OfferLink, fact: UUID) -> Entry:
    """The entry of a fact that a live link shows: a step of its sale, a call on one of its
    animals or a photo of one, a standing it was offered or disclosed on or that stands now,
    a disclosure.

    Raises:
        NotFound: there is none, or the link does not show it; one answer for both.
    """
    entry = entry_of(fact)
    if entry is None or not shows(link, entry):
        raise NotFound()
    return entry


def shows(link: OfferLink, entry: AnyEntry) -> bool:
    """Whether a live link shows this entry."""
    return entry.about is not None and _is_shown(link, entry, entry.about)


def photo_shown(link: OfferLink, photo: UUID) -> UUID:
    """The photo, if it is of an animal that the link shows or of a call on one.

    Raises:
        NotFound: there is none, or the link does not show it; one answer for both.
    """
    entry = entry_shown(link, photo)
    if entry.kind != "photo_attached":
        raise NotFound()
    return entry.fact


def _is_shown(link: OfferLink, entry: AnyEntry, about: UUID) -> bool:
    sale = link.sale
    if entry.kind in FOR_DISCLOSURES:
        owed = sale.disclosures.filter(pk=about)
        return link.purpose == "disclosure" and owed.exists()
    animal = sale.animals.filter(pk=about).first()
    if animal is not None and entry.kind in {"call_made", "photo_attached"}:
        of = leaf_of(entry).body.get("of")
        return readable_by_buyer(animal, sale).has(
            entry.position, entry.fact, UUID(of) if of else None
        )
    if animal is not None and entry.kind == "standing_changed":
        return _is_named(link, entry, animal)
    if entry.kind == "custody_changed":  # back from the sale, by its seller's word
        return leaf_of(entry).body.get("sale") == str(sale.pk)
    return sale.steps.filter(pk=entry.fact).exists()


def _is_named(link: OfferLink, entry: AnyEntry, animal: Animal) -> bool:
    """Whether it is a standing the link names, or the last that is for its buyer."""
    now = latest_standing(animal.pk, readable_by_buyer(animal, link.sale).at)
    if now is not None and now.pk == entry.fact:
        return True
    named = set(_offered_on(link.sale))
    if link.purpose == "disclosure":
        named |= set(_disclosed_on(link.sale))
    return entry.position in named


def _offered_on(sale: Sale) -> Iterator[int]:
    for step in sale.steps.filter(kind="offer_made"):
        yield from (one["position"] for one in step.body["represents"])


def _disclosed_on(sale: Sale) -> Iterator[int]:
    for owed in Disclosure.objects.filter(sale=sale):
        yield from (owed.was["position"], owed.now["position"])
