"""What shows a reader that the entries about an animal are all there are, and which of them the
reader may not read: of those, their places and hashes.

A blind guest gets none of it before their own check: it counts what was said. Whoever made a check
gets it for ever, so that they can see that their word still stands, also when the animal has gone
out of their sight; then it is all hashes.
"""

from collections.abc import Collection, Iterator
from datetime import datetime
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.translog.leaf import Leaf
from scalewitness.domain.translog.record_map import Link, Opening
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import EntryLine, leaf_of, lines_about
from scalewitness.ledger.services.opening import StatedTree, openings
from scalewitness.people.models import Grant
from scalewitness.receipts.by_link import ShownByLink
from scalewitness.receipts.queries import readable
from scalewitness.sales.models import OfferLink

OWN_WORD = ("animal_registered", "call_made")
"""What somebody goes on looking after, once they have said it."""


class WholeRecord(msgspec.Struct, frozen=True):
    """The place in the map of an animal, or another thing that entries are about, and the entries
    about it that the reader may read."""

    subject: UUID
    opening: Opening
    shown: list[EntryLine]


def whole_records(
    keeper: UUID, animals: Collection[UUID], tree: StatedTree, now: datetime
) -> list[WholeRecord]:
    """Of the animals that the keeper sees whole, or made a check of and does not see; within
    `opening.stated_tree`.

    Raises:
        LogContradicted: what is stored cannot be right.
    """
    sights = sights_of(keeper, animals, now)
    spoken_of = _spoken_of(keeper, [one for one in animals if one not in sights], now)
    wanted = [one for one in animals if sights.get(one) == "all" or one in spoken_of]
    lines = list(map(_as_it_says, _lines(wanted, tree)))
    seen = readable(keeper, (one for one in lines if one.about in sights), now, sights)
    return list(_parted(wanted, lines, seen))


def whole_by_link(link: OfferLink, tree: StatedTree) -> tuple[list[WholeRecord], list[WholeRecord]]:
    """Of the animals of the sale behind a live link, and of the deal: the sale itself and what was
    disclosed of it; within `opening.stated_tree`.

    Raises:
        LogContradicted: what is stored cannot be right.
    """
    plain = ShownByLink(link)
    subjects = [*plain.animals, link.sale_id, *plain.disclosures]
    lines = _lines(subjects, tree)
    read = [(one, leaf) for one in lines if (leaf := _read(one)) is not None]
    view = ShownByLink(link, read)
    seen = {one.position for one, leaf in read if view.has(one, leaf)}
    found = list(_parted(subjects, lines, seen))
    animals = [one for one in found if one.subject in view.animals]
    return animals, [one for one in found if one.subject not in view.animals]


def _as_it_says(line: EntryLine) -> EntryLine:
    """With the kind that its bytes state: a column that says otherwise hides nothing."""
    if f'"kind":"{line.kind}"'.encode() in bytes(line.leaf):
        return line
    leaf = _read(line)
    return line if leaf is None else line._replace(kind=leaf.kind)


def _read(line: EntryLine) -> Leaf | None:
    """None where the bytes are no entry: then its hash is all there is to show, and it will not
    fit."""
    try:
        return leaf_of(line)
    except ValueError:
        return None


def _spoken_of(keeper: UUID, unseen: Collection[UUID], now: datetime) -> set[UUID]:
    """Of animals out of sight, those that the keeper registered or checked, but for what they are
    to check blind again when a visit opens."""
    own = Entry.objects.filter(by=keeper, about__in=unseen, kind__in=OWN_WORD)
    found = {one for one in own.values_list("about", flat=True) if one}
    coming = Grant.objects.filter(to=keeper, blind=True, end=None, opens__gt=now)
    shut = Animal.ever.filter(pk__in=found, collection__in=coming.values("collection"))
    return found - set(shut.values_list("pk", flat=True))


def _lines(animals: Collection[UUID], tree: StatedTree) -> list[EntryLine]:
    return [one for one in lines_about(animals) if one.position < tree.position]


def _parted(
    subjects: Collection[UUID], lines: list[EntryLine], seen: Collection[int]
) -> Iterator[WholeRecord]:
    opened, all_about = openings(subjects), dict[UUID | None, list[EntryLine]]()
    for one in lines:
        all_about.setdefault(one.about, []).append(one)
    for subject in (one for one in subjects if one in opened):
        about = all_about.get(subject, [])
        hidden = tuple(
            Link(one.position, leaf_hash(bytes(one.leaf)))
            for one in about
            if one.position not in seen
        )
        shown = [one for one in about if one.position in seen]
        yield WholeRecord(subject, msgspec.structs.replace(opened[subject], hidden=hidden), shown)
