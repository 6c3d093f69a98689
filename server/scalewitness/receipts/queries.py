"""Which entries a keeper may read: what they stated themselves, and what they are shown anyway.
Each rule is that of the page or endpoint that shows the fact. Receipts and the feed of
changes both ask here."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import is_steward
from scalewitness.animals.queries.slips import slips_among
from scalewitness.breeding.queries.pairings import pairing_of
from scalewitness.calls.queries.held import (
    decision_on,
    decisions_for,
    sealed_for,
    seals_for,
)
from scalewitness.calls.queries.visibility import Sight, animal_open, sights_of, visible_parents
from scalewitness.disclosures.queries import disclosure_of
from scalewitness.disputes.queries.disputes import dispute_of
from scalewitness.domain.errors import LogContradicted, NotFound
from scalewitness.domain.sales import MAY
from scalewitness.domain.translog.canonical import BadJson, NotCanonical
from scalewitness.domain.translog.leaf import NotALeaf
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import AnyEntry, entry_of, leaf_of
from scalewitness.people.queries import grant_of
from scalewitness.sales.queries import sale_of
from scalewitness.visits.queries import visit_of

Rule = Callable[[UUID, AnyEntry, UUID, datetime], bool]
"""``rule(keeper, entry, about, now)``"""


def entry_seen(keeper: UUID, fact: UUID, now: datetime) -> Entry:
    """The entry of a fact, if the keeper stated it or may read it. Of a late call of theirs that
    is not on record: that of the decision; while it waits, that which seals it.

    Raises:
        NotFound: there is none, or it is not theirs to see; one answer for both.
        LogContradicted: its bytes are not those of an entry any more.
    """
    entry = entry_of(fact) or decision_on(keeper, fact) or sealed_for(keeper, fact)
    if entry is None or not readable(keeper, [entry], now):
        raise NotFound()
    return entry


def readable(
    keeper: UUID,
    entries: Iterable[AnyEntry],
    now: datetime,
    sights: Mapping[UUID, Sight] | None = None,
) -> set[int]:
    """Of many entries, the positions of those that the keeper said or may read. The
    animals among them are looked at together, everything else one thing after the other.
    ``sights``: how much of each of the animals the keeper sees, where that is known already.

    Raises:
        LogContradicted: bytes that must be read are not those of an entry any more.
    """
    found, of_animals = set[int](), list[AnyEntry]()
    known: dict[tuple[Rule, UUID], bool] = {}
    for entry in entries:
        if entry.by == keeper:
            found.add(entry.position)
        elif entry.kind in ANIMAL_KINDS:
            of_animals.append(entry)
        elif _may_read(keeper, entry, now, known):
            found.add(entry.position)
    return found | _of_animals(keeper, of_animals, now, sights)


def _may_read(
    keeper: UUID, entry: AnyEntry, now: datetime, known: dict[tuple[Rule, UUID], bool]
) -> bool:
    """``known``: what was found before about the same thing by the same rule."""
    rule = RULES.get(entry.kind, _of_nobody_else)
    if entry.about is None:
        return False
    key = (rule, entry.fact if rule in OF_ITS_BODY else entry.about)
    if key not in known:
        try:
            known[key] = rule(keeper, entry, entry.about, now)
        except NotFound:
            known[key] = False
    return known[key]


def _of_animals(
    keeper: UUID,
    entries: Iterable[AnyEntry],
    now: datetime,
    sights: Mapping[UUID, Sight] | None,
) -> set[int]:
    """As in its history, and no parents named that the keeper may not be told of; and that the
    keeper's own late calls came, and what was decided of them."""
    listed = list(entries)
    if not listed:
        return set()
    if sights is None:
        about = {entry.about for entry in listed if entry.about}
        left = slips_among(about, keeper, now)
        sights = {**sights_of(keeper, about, now), **dict.fromkeys(left, "all")}
    seen = [entry for entry in listed if entry.about and sights.get(entry.about) == "all"]
    naming = [entry for entry in seen if _names_parents(entry)]
    animals = Animal.ever.in_bulk({entry.about for entry in naming if entry.about})
    pairs = ((animals[entry.about], entry) for entry in naming if entry.about)
    shut = _naming_shut_parents(keeper, pairs, now)
    of_own_calls = set[int]()
    for kind, theirs in (("call_held", seals_for), ("late_call_decided", decisions_for)):
        found = [entry.position for entry in listed if entry.kind == kind]
        of_own_calls |= theirs(keeper, found) if found else set()
    return of_own_calls.union(
        entry.position for entry in seen if not shut or entry.fact not in shut
    )


def withheld(keeper: UUID, animal: Animal, entries: Iterable[AnyEntry], now: datetime) -> set[UUID]:
    """Of the facts in the history of an animal that the keeper sees whole, those they may
    not have the receipt of: they name parents that the keeper may not be told of."""
    others = ((animal, entry) for entry in entries if entry.by != keeper)
    return _naming_shut_parents(keeper, others, now)


def _naming_shut_parents(
    keeper: UUID, seen: Iterable[tuple[Animal, AnyEntry]], now: datetime
) -> set[UUID]:
    naming = [(animal, entry, _parents(entry)) for animal, entry in seen]
    rule = visible_parents(keeper, (one for _, _, parents in naming for one in parents), now)
    return {entry.fact for animal, entry, parents in naming if not rule.open(animal, *parents)}


def _parents(entry: AnyEntry) -> list[UUID]:
    """Whatever the kind: one that is new must not tell of parents because nobody listed it."""
    if not _names_parents(entry):
        return []
    body = _body(entry)
    return [UUID(str(body[role])) for role in ("sire", "dam") if body.get(role)]


def _names_parents(entry: AnyEntry) -> bool:
    """Canonical bytes have no other spelling, so most need not be parsed."""
    leaf = bytes(entry.leaf)
    return b'"sire":' in leaf or b'"dam":' in leaf


def _body(entry: AnyEntry) -> dict[str, Any]:
    try:
        return leaf_of(entry).body
    except (BadJson, NotCanonical, NotALeaf):
        raise LogContradicted() from None


def _of_sale(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    sale = sale_of(about)
    return sale is not None and is_steward(keeper, sale.collection, now)


def _of_disclosure(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    owed = disclosure_of(about)
    if owed is None:
        return False
    return owed.to.keeper_id == keeper or is_steward(keeper, owed.sale.collection, now)


def _of_dispute(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    dispute = dispute_of(about)
    return dispute is not None and bool(animal_open(keeper, dispute.animal_id, now))


def _of_visit(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    visit = visit_of(about)
    if visit is None:
        return False
    return visit.guest_id == keeper or is_steward(keeper, visit.collection, now)


def _of_grant(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    """The collection's keeper, and whoever has or had access; not its partners."""
    revoked = _body(entry).get("grant")
    grant = grant_of(UUID(str(revoked)) if revoked else entry.fact)
    if grant is None:
        return False
    return grant.to_id == keeper or _keeps(keeper, about)


def _keeps(keeper: UUID, collection: UUID) -> bool:
    return Collection.objects.filter(pk=collection, keeper=keeper).exists()


def _of_pairing(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    """Whoever holds or is a partner in both: it tells what each animal is taken for, and of the
    other one they could be a blind guest."""
    pairing = pairing_of(about)
    if pairing is None:
        return False
    return all(is_steward(keeper, one.collection, now) for one in (pairing.sire, pairing.dam))


def _of_plan(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    """Whoever holds or is a partner in the collection, and sees the animal: it tells that what the
    record says of its sex, or what is claimed of it, changed."""
    collection = Collection.objects.filter(pk=about).first()
    if collection is None or not is_steward(keeper, collection, now):
        return False
    animal = UUID(str(_body(entry)["animal"]))
    return sights_of(keeper, [animal], now).get(animal) == "all"


OF_ITS_BODY: Final = (_of_grant, _of_plan)
"""Rules that look at more than what an entry is about."""


def _of_whom_it_is_about(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    return keeper == about


def _of_nobody_else(keeper: UUID, entry: AnyEntry, about: UUID, now: datetime) -> bool:
    """A device's key is for the keeper who stated it. What the record says of examiners or of its
    own rule has no reader of its own yet; of its origins everybody reads at `/log`."""
    return False


ANIMAL_KINDS: Final = frozenset(
    {
        "animal_registered",
        "particulars_corrected",
        "animal_ended",
        "end_corrected",
        "registered_in_error",
        "linkage_stated",
        "trait_stated",
        "trait_withdrawn",
        "claim_fell",
        "claim_restored",
        "identifier_assigned",
        "identifier_withdrawn",
        "joining_proposed",
        "parting_proposed",
        "joining_answered",
        "husbandry_noted",
        "photo_attached",
        "custody_changed",
        "call_made",
        "call_withdrawn",
        "call_refiled",
        "photos_compared",
        "call_objected",
        "call_held",
        "late_call_decided",
        "report_answered",
        "document_read",
        "witness_stated",
        "witness_withdrawn",
        "report_reopened",
        "one_person_found",
        "standing_changed",
        "record_quoted",
    }
)
"""Facts about an animal; :func:`_of_animals` judges them."""

OWN_NOTES: Final = ANIMAL_KINDS - {
    "call_made",
    "call_withdrawn",
    "call_objected",
    "report_answered",
    "trait_stated",
    "trait_withdrawn",
}
"""Facts whose texts are shown to nobody but their author."""

OF_THE_RECORD: Final = frozenset(
    {
        "books_closed",
        "data_erased",
        "map_root",
        "policy_adopted",
        "numbers_adopted",
        "examiner_record_changed",
        "origin_succeeded",
        "founder_named",
        "deceit_found",
    }
)
"""What the record states of itself and of people; nobody reads it by a receipt or in the feed."""

RULES: Final[dict[str, Rule]] = {
    **dict.fromkeys(MAY, _of_sale),
    **dict.fromkeys(("disclosure_owed", "disclosure_acknowledged"), _of_disclosure),
    **dict.fromkeys(
        ("dispute_opened", "statement_made", "finding_recorded", "finding_answered"), _of_dispute
    ),
    **dict.fromkeys(
        ("visit_invited", "visit_accepted", "visit_declined", "visit_cancelled"), _of_visit
    ),
    **dict.fromkeys(("grant_given", "grant_revoked"), _of_grant),
    **dict.fromkeys(("pairing_planned", "pairing_dropped", "pairing_agreed"), _of_pairing),
    **dict.fromkeys(("season_noted", "season_note_withdrawn"), _of_pairing),
    "plan_affected": _of_plan,
    "keeper_vouched": _of_whom_it_is_about,
    **dict.fromkeys(
        (
            "device_key_enrolled",
            "device_revoked",
            "device_key_endorsed",
            "signatures_required",
            "signing_notice_given",
            "signing_notice_stopped",
            "witness_revoked",
        ),
        _of_nobody_else,
    ),
    **dict.fromkeys(OF_THE_RECORD, _of_nobody_else),
}
