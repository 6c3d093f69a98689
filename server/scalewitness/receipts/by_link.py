"""Which entries a buyer may have the receipt of: what their link shows, and no more.

What an entry says of itself decides, never the columns beside it: somebody who alters a row cannot
make what the log states look as if it were not for the buyer to see.
"""

from collections.abc import Iterable, Iterator
from functools import cached_property
from uuid import UUID

from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.queries import ReadableByBuyer, readable_by_buyer
from scalewitness.domain.errors import LogContradicted, NotFound
from scalewitness.domain.sales import MAY
from scalewitness.domain.translog.leaf import Leaf
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import (
    AnyEntry,
    entries_of,
    entry_of,
    leaf_of,
    lines_of_kinds,
)
from scalewitness.sales.models import OfferLink

LATE = frozenset({"call_held", "late_call_decided"})
"""That a check came late, under seal, and whether its host admitted it."""
FOR_DISCLOSURES = frozenset({"disclosure_owed", "disclosure_acknowledged"})


def entry_shown(link: OfferLink, fact: UUID) -> Entry:
    """The entry of a fact that a live link shows: a step of its sale, a call on one of its
    animals, its withdrawal or a photo of one, that one came late, a standing it was offered or
    disclosed on or that stands now, a disclosure.

    Raises:
        NotFound: there is none, or the link does not show it; one answer for both.
        LogContradicted: its bytes are not those of an entry any more.
    """
    entry = entry_of(fact)
    if entry is None or not ShownByLink(link).has(entry, _leaf(entry)):
        raise NotFound()
    return entry


def photo_shown(link: OfferLink, photo: UUID) -> UUID:
    """The photo, if it is of an animal that the link shows or of a call on one.

    Raises:
        NotFound: there is none, or the link does not show it; one answer for both.
    """
    entry = entry_shown(link, photo)
    if entry.kind != "photo_attached":
        raise NotFound()
    return entry.fact


def _leaf(entry: Entry) -> Leaf:
    try:
        return leaf_of(entry)
    except ValueError:
        raise LogContradicted() from None


class ShownByLink:
    """What a live link shows: looked up once, however many entries are asked about. ``about``: all
    entries about its animals, where they were read already."""

    def __init__(
        self, link: OfferLink, about: Iterable[tuple[AnyEntry, Leaf]] | None = None
    ) -> None:
        self.link, self.sale = link, link.sale
        rows = self.sale.animals.select_related("collection").prefetch_related("custody")
        self.animals = {one.pk: one for one in rows}
        self._about = None if about is None else list(about)

    def has(self, entry: AnyEntry, leaf: Leaf) -> bool:
        """Whether the link shows this entry, whose bytes say what ``leaf`` holds."""
        if leaf.about is None:
            return False
        about = UUID(leaf.about)
        if leaf.kind in FOR_DISCLOSURES:
            return about in self.disclosures
        if leaf.kind == "custody_changed":  # back from the sale, by its seller's word
            return leaf.body.get("sale") == str(self.sale.pk)
        if about in self.animals:
            return self._of_animal(entry, leaf, about)
        return about == self.sale.pk and leaf.kind in MAY

    @cached_property
    def disclosures(self) -> dict[UUID, Disclosure]:
        """Those that the link speaks of."""
        if self.link.purpose != "disclosure":
            return {}
        return {one.pk: one for one in Disclosure.objects.filter(sale=self.sale)}

    def _of_animal(self, entry: AnyEntry, leaf: Leaf, animal: UUID) -> bool:
        theirs, call = self._readable[animal], leaf.body.get("call")
        if leaf.kind in {"call_made", "call_refiled"}:
            return theirs.has(entry.position, UUID(leaf.id))
        if leaf.kind == "photo_attached":
            of = leaf.body.get("of")
            return theirs.has(entry.position, UUID(leaf.id), UUID(of) if of else None)
        if leaf.kind == "call_withdrawn" and isinstance(call, str):
            return self._shows_call(theirs, UUID(call))
        if leaf.kind in LATE:
            return theirs.has(entry.position)
        if leaf.kind == "standing_changed":
            return entry.position in self._named or entry.position == self._newest.get(animal)
        return False

    @cached_property
    def _readable(self) -> dict[UUID, ReadableByBuyer]:
        return {id: readable_by_buyer(one, self.sale) for id, one in self.animals.items()}

    def _shows_call(self, theirs: ReadableByBuyer, call: UUID) -> bool:
        if theirs.has(-1 if theirs.until is None else theirs.until, call):
            return True
        made = entries_of([call]).get(call)
        return made is not None and theirs.has(made.position)

    @cached_property
    def _newest(self) -> dict[UUID, int]:
        """Of each animal the position of the last standing that is for the buyer."""
        found = dict[UUID, int]()
        for entry, leaf in self._about if self._about is not None else self._standings():
            if leaf.kind == "standing_changed" and leaf.about and UUID(leaf.about) in self.animals:
                at = self._readable[UUID(leaf.about)].at
                if at is None or entry.position <= at:
                    found[UUID(leaf.about)] = entry.position
        return found

    def _standings(self) -> Iterator[tuple[AnyEntry, Leaf]]:
        for one in lines_of_kinds(self.animals, {"standing_changed"}):
            yield one, leaf_of(one)

    @cached_property
    def _named(self) -> set[int]:
        return {*self._offered_on(), *self._disclosed_on()}

    def _offered_on(self) -> Iterator[int]:
        for step in self.sale.steps.filter(kind="offer_made"):
            yield from (one["position"] for one in step.body["represents"])

    def _disclosed_on(self) -> Iterator[int]:
        for owed in self.disclosures.values():
            yield from (owed.was["position"], owed.now["position"])
