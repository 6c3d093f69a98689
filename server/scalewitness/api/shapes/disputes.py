"""Disputes as shown: the evidence in time order, with who knew what."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated, NamedTuple, get_args
from uuid import UUID

from msgspec import Struct

from scalewitness.animals.models import Animal
from scalewitness.api.shapes.animals import AnimalNamed, animals_shown
from scalewitness.api.shapes.calls import CallShown, StandingShown, calls, standing
from scalewitness.api.shapes.letters import LetterShown, letters
from scalewitness.api.shapes.people import Person, named
from scalewitness.api.shapes.words import one_of
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import answering, summary_of, would_set_aside
from scalewitness.disputes.queries.disputes import Seat, statements_in
from scalewitness.disputes.queries.seats import statements_for_seller
from scalewitness.domain.findings import Part
from scalewitness.examiners.settled import Settled
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.mail.queries import letters_for
from scalewitness.people.queries import names_of
from scalewitness.sales.models import Sale
from scalewitness.standings.queries.dossier import Dossier


class AnswerShown(Struct, frozen=True):
    """Of one who may answer a finding; ``agrees`` None: they have not."""

    by: Annotated[str, one_of(*get_args(Part))]
    agrees: bool | None


class FindingShown(Struct, frozen=True):
    """The outcome that closed a dispute, as ``by`` recorded it, and the calls set aside by it.
    ``proposed``: calls set aside once one of ``answers`` agrees; ``would_set_aside``: those of
    them that agreeing would set aside now, which an answer repeats, for who may answer alone; else
    empty. ``basis`` is the recorder's
    claim, ``word`` says what others confirm of it."""

    id: UUID
    position: int
    by: Person
    at: datetime
    outcome: str
    remedy: str
    set_aside: list[UUID]
    proposed: list[UUID]
    would_set_aside: list[UUID]
    reasons: str | None
    basis: str | None
    word: str
    arbiter: Person | None
    answers: list[AnswerShown]
    document: str | None


class StatementShown(Struct, frozen=True):
    """What a party said; ``text`` None: the words were erased."""

    id: UUID
    position: int
    by: Person
    at: datetime
    text: str | None


class DisputeListed(Struct, frozen=True):
    id: UUID
    animal: AnimalNamed
    ground: str
    opened_at: datetime
    open: bool


class Disputes(Struct, frozen=True):
    items: list[DisputeListed]


class DisputeShown(Struct, frozen=True, tag_field="reader", tag="keeper"):
    """``evidence``: every call by the time it was made; ``blind`` and ``anchored_to`` of
    each say what its examiner knew. ``opened_by`` None: the record itself. ``letters`` is
    for the animal's keepers and empty for others. ``standing`` None and no ``evidence``: the
    reader sold the animal and may not see it any more."""

    id: UUID
    position: int
    animal: AnimalNamed
    sale: UUID | None
    ground: str
    cause: UUID | None
    opened_by: Person | None
    opened_at: datetime
    open: bool
    note: str | None
    standing: StandingShown | None
    evidence: list[CallShown]
    statements: list[StatementShown]
    finding: FindingShown | None
    letters: list[LetterShown]


class KnownOfAnimal(NamedTuple):
    """What is known of the animal, for whoever may see it."""

    known: Dossier
    settled: Settled


def listed(rows: Iterable[tuple[Dispute, Seat]]) -> list[DisputeListed]:
    found = list(rows)
    animals = animals_shown(_for_reader(one, whole=seat == "whole") for one, seat in found)
    return [
        DisputeListed(
            id=one.pk,
            animal=animal,
            ground=one.ground,
            opened_at=one.opened_at,
            open=not hasattr(one, "finding"),
        )
        for (one, _), animal in zip(found, animals, strict=True)
    ]


def dispute(
    one: Dispute,
    evidence: KnownOfAnimal | None,
    *,
    reader: tuple[UUID, datetime],
    entry: UUID | None,
    letters_too: bool,
) -> DisputeShown:
    """``reader``: who reads it, and when; ``entry``: the id of the fact that opened it, under
    which its note is kept."""
    found = one.finding if hasattr(one, "finding") else None
    texts = texts_of(fact for fact in (entry, found and found.pk) if fact)
    people = (one.by, found and found.by, found and found.arbiter)
    names = _names(one, (who for who in people if who))
    return DisputeShown(
        id=one.pk,
        position=one.position,
        animal=animals_shown([_for_reader(one, whole=evidence is not None)])[0],
        sale=one.sale_id,
        ground=one.ground,
        cause=one.cause,
        opened_by=named(one.by, names) if one.by else None,
        opened_at=one.opened_at,
        open=found is None,
        note=texts.get((entry, "note")) if entry else None,
        standing=standing(*evidence) if evidence else None,
        evidence=_in_time(calls(evidence.known)) if evidence else [],
        statements=_statements(one, whole=evidence is not None),
        finding=_finding(one, found, names, texts, reader) if found else None,
        letters=_letters(one, found) if letters_too else [],
    )


def _in_time(found: Iterable[CallShown]) -> list[CallShown]:
    return sorted(found, key=lambda call: (call.examined_at, call.position))


def _for_reader(one: Dispute, *, whole: bool) -> tuple[Animal, bool, Sale | None]:
    return one.animal, whole, None if whole else one.sale


def _finding(
    one: Dispute,
    found: Finding,
    names: dict[UUID, str],
    texts: dict[tuple[UUID, str], str],
    reader: tuple[UUID, datetime],
) -> FindingShown:
    summary = summary_of(one, found)
    keeper, now = reader
    buys = one.sale is not None and keeper == one.sale.buyer.keeper_id
    part = answering(one, found, summary.side, keeper, as_buyer=buys, now=now)
    return FindingShown(
        id=found.pk,
        position=found.position,
        by=named(found.by, names),
        at=found.at,
        outcome=found.outcome,
        remedy=found.remedy,
        set_aside=[UUID(call) for call in summary.set_aside],
        proposed=[UUID(call) for call in found.proposed],
        would_set_aside=[UUID(call) for call in would_set_aside(found)] if part else [],
        reasons=texts.get((found.pk, "reasons")),
        basis=found.basis or None,
        word=summary.word,
        arbiter=named(found.arbiter, names) if found.arbiter else None,
        answers=[AnswerShown(part, agrees) for part, agrees in summary.answers.items()],
        document=found.document or None,
    )


def _statements(one: Dispute, *, whole: bool) -> list[StatementShown]:
    """Another buyer has no name here, and says nothing to a seller who is not theirs."""
    rows = statements_in(one.pk)
    to_sellers = statements_for_seller(one, rows)
    statements = rows if whole else to_sellers
    texts, names = texts_of(it.pk for it in statements), _names(one, (it.by for it in statements))
    for it in statements:
        if it not in to_sellers:
            names[it.by] = "another buyer"
    return [
        StatementShown(
            id=it.pk,
            position=it.position,
            by=named(it.by, names),
            at=it.at,
            text=texts.get((it.pk, "statement")),
        )
        for it in statements
    ]


def _letters(one: Dispute, found: Finding | None) -> list[LetterShown]:
    by_cause = letters_for([one.pk, *([found.pk] if found else [])])
    rows = [row for rows in by_cause.values() for row in rows]
    return letters(rows, _names(one, (row.recipient for row in rows)))


def _names(one: Dispute, people: Iterable[UUID]) -> dict[UUID, str]:
    """A buyer has a name too, though no account."""
    buyer = {one.sale.buyer_id: one.sale.buyer.name} if one.sale else {}
    return names_of(people) | buyer
