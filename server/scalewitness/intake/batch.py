"""What one sender's items come to, before it is stored: entries, rows, letters owed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
from django.db.models import Model

from scalewitness.animals.models import Animal, Husbandry, Identifier
from scalewitness.domain import facts
from scalewitness.domain.facts import Body, Circumstance, ReportStands
from scalewitness.domain.translog.leaf import Stamp
from scalewitness.domain.translog.sealing import SealedCall
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.known import Known
from scalewitness.intake.pace import WANTED
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.models import Text
from scalewitness.ledger.queries.prepared import sent_together
from scalewitness.ledger.services.inserting import Row, insert_rows
from scalewitness.ledger.services.writing import Draft, Logged, Writer
from scalewitness.letters.owing import Owing


@dataclass(frozen=True, slots=True)
class Actor:
    """Who sends: a keeper on a device, a buyer through their link, or a practitioner through
    theirs. ``by_code``: the buyer also typed the code from their newest letter. ``proved``: the
    keeper gave a second factor just now, or on a page their password where they have none."""

    keeper: UUID | None = None
    device: UUID | None = None
    buyer: UUID | None = None
    sale: UUID | None = None
    practitioner: UUID | None = None
    by_code: bool = False
    proved: bool = False

    @property
    def by(self) -> UUID | None:
        return self.keeper or self.buyer or self.practitioner


def draft_of(fact: Sealed, sender: Actor) -> Draft:
    """The fact as it would enter the log from this sender."""
    return Draft(
        id=fact.id,
        kind=fact.kind,
        by=sender.by,
        device=sender.device,
        at=fact.at,
        about=fact.about,
        body=fact.logged_body(),
        flags=fact.flags,
        sig=fact.sig,
    )


@dataclass(slots=True)
class Touched:
    """An animal whose evidence changed: by which fact, the calls newly admitted, and what the
    record makes of reports that were spoken of."""

    cause: UUID
    kind: str
    admitted: list[Circumstance] = field(default_factory=list)
    reports: list[ReportStands] = field(default_factory=list)
    answered: bool = False
    """Contrary calls of newcomers that waited are to count now."""
    parted: list[str] = field(default_factory=list)
    """Calls whose examiner counts for themselves from now on."""
    joined: list[str] = field(default_factory=list)
    """Calls whose examiner counts as one with another from now on."""


JUDGED_BY = (Animal, Identifier, Husbandry)
"""Tables whose rows may wait, and that calls are judged by."""
HOLDING = WANTED
"""Seconds for which a batch may go on taking items while it has the log locked: as a stretch is
cut for. It ends items that take longer than those before them let expect."""
REASSESSING = 0.001
"""Seconds that an animal still to be reassessed will take: measured 0.5 to 0.7 ms, and a row."""


class Batch:
    """What one sender's part of a transaction comes to. ``known``: what was read before the
    log was locked; it is read again if an entry that bears on it came in. ``writer``: of the
    transaction, where others write in it too."""

    def __init__(
        self,
        actor: Actor,
        received_at: datetime,
        known: Known | None = None,
        writer: Writer | None = None,
    ) -> None:
        self.actor = actor
        self.now = received_at
        self.touched: dict[UUID, Touched] = {}
        self.restated: dict[UUID, Touched] = {}
        """Animals of whose traits, parents, young or keeper something was stated: claims may
        fall."""
        self.letters = Owing(actor.keeper, received_at)
        self.known = known or Known(actor.keeper, received_at)
        self._writer = writer or Writer()
        if self.known.is_stale():
            self.known.forget()
        self.known.before_reading = self._store_kept
        self.sealed: dict[UUID, SealedCall] = {}
        """Of calls held in this batch, what their sender is given."""
        self.noted: dict[UUID, str] = {}
        """Of a fact, what its sender is told of it beside its own flags."""
        self._rows: dict[type[Model], list[Row]] = {}
        self._has_stored = False

    def log(self, fact: Sealed, *, sender: Actor | None = None) -> Logged[Any]:
        """Take a position for a sent fact and keep its texts. ``sender`` other than the actor
        only for a held call, which enters as its examiner's, from their device."""
        sender = sender or self.actor
        draft = fact.draft if sender == self.actor else None
        position = self._writer.add(draft or draft_of(fact, sender), self.now)
        self.keep_texts(fact)
        return Logged(fact.id, position, sender.by, fact.at, self.now, fact.about, fact.body)

    @property
    def full(self) -> bool:
        """Whether it has taken as much as the log may be locked for."""
        return self._writer.held + len(self.touched) * REASSESSING > HOLDING

    @property
    def leaves_room(self) -> bool:
        """Whether another sender's items may be judged in the same transaction: there is time,
        and nothing was stored that they might be judged by."""
        return not (self._has_stored or self.full)

    @property
    def log_size(self) -> int:
        return self._writer.size

    def stamp_at(self, position: int) -> Stamp:
        """What the record put on a fact of this batch."""
        return self._writer.stamp_at(position)

    def entry_at(self, position: int) -> bytes:
        """The bytes of a fact of this batch."""
        return self._writer.leaf_at(position)

    def keep_texts(self, fact: Sealed) -> None:
        """Store free text beside the log, where it can be erased."""
        for name, (salt, text) in fact.texts.items():
            self.keep(Text, {"fact": fact.id, "field": name, "salt": salt, "text": text})

    def keep(self, table: type[Model], row: Row) -> None:
        """A row to store with the others of its table, at the latest before anything that
        may read it."""
        self._rows.setdefault(table, []).append(row)

    def store(self) -> None:
        """Store the rows kept so far. Whoever is about to write anything else, or to read what
        the batch writes, does this first."""
        self._has_stored = True
        for table, rows in self._rows.items():
            insert_rows(table, rows)
        self._rows.clear()

    def _store_kept(self) -> None:
        """Where anything waits to be stored that calls are judged by."""
        if not self._rows.keys().isdisjoint(JUDGED_BY):
            self.store()

    def speaks_of(self, thing: UUID) -> bool:
        """Whether a fact of the batch is, or is about, this id."""
        return self._writer.speaks_of(thing)

    def kinds_about(self, thing: UUID) -> set[str]:
        """Kinds of facts about this id that are not in the log's table yet."""
        return self._writer.kinds_about(thing)

    def state(
        self,
        kind: str,
        about: UUID,
        body: Body,
        *,
        at: datetime | None = None,
        flags: tuple[str, ...] = (),
    ) -> Logged[Any]:
        """Log a fact that the record itself states, as a consequence; ``at``: now."""
        if kind not in facts.SYSTEM_KINDS and kind != "dispute_opened":
            raise ValueError(f"{kind} is for people to say")
        fact_id, at = fresh_id(self.now), at or self.now
        built: Mapping[str, Any] = msgspec.to_builtins(body)
        position = self._writer.add(
            Draft(fact_id, kind, None, None, at, about, built, flags), self.now
        )
        return Logged(fact_id, position, None, at, self.now, about, body)

    def is_unsettled(self, about: UUID) -> bool:
        """Whether the animal, or another record that bears a number of its, waits to be
        reassessed."""
        if not self.touched:
            return False
        rivals = self.known.rivals_read(about)
        return about in self.touched or not rivals.isdisjoint(self.touched)

    def touch(
        self,
        animal: UUID,
        cause: UUID,
        kind: str,
        admitted: Circumstance | None = None,
        report: ReportStands | None = None,
        *,
        answered: bool = False,
        parted: Iterable[str] = (),
        joined: Iterable[str] = (),
    ) -> None:
        """Note that the animal, and other records of the same snake after it, must be reassessed
        before the batch ends. ``answered``: contrary
        calls of newcomers that waited count from then on; ``parted``: the examiners of these calls
        are nobody else; ``joined``: they are one with another."""
        touched = self.touched.setdefault(animal, Touched(cause, kind))
        touched.cause, touched.kind = cause, kind
        touched.answered |= answered
        touched.parted += parted
        touched.joined += joined
        if admitted is not None:
            touched.admitted.append(admitted)
        if report is not None:
            touched.reports.append(report)
        subject = self.known.of(animal)
        for other in subject.others if subject else ():
            self.touched.setdefault(other, Touched(cause, kind))

    def recount_broods(self, fact: Sealed, *sires: UUID | None) -> None:
        """Note that more or fewer young of these are on record: a test of a whole brood proves
        them no more, or proves them now."""
        self.restated |= {one: Touched(fact.id, fact.kind) for one in sires if one}

    def flush(self) -> int:
        """Store everything; the log's new size."""
        return flush_together(self._writer, [self])


def flush_together(writer: Writer, batches: Iterable[Batch]) -> int:
    """Store all that batches of one transaction hold; the log's new size."""
    with sent_together():
        for batch in batches:
            batch.store()
        return writer.flush()
