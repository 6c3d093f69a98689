"""Recompute every standing from the log alone and compare it with what was logged."""

from collections.abc import Callable, Iterator, Set
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.identifiers import BorneTransponders, plain_code
from scalewitness.domain.joining import JoinedRecords
from scalewitness.domain.photos_compared import after_comparisons
from scalewitness.domain.sexing.case import Case
from scalewitness.domain.sexing.evidence import Compared, Evidence
from scalewitness.domain.sexing.kept import Before
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.standing import share
from scalewitness.domain.sexing.stated_linkage import Origin, start_from
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_by_position, entry_of, leaf_of
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.assessing import (
    Yardstick,
    adopted_yardstick,
    case_by,
    settled_by,
)
from scalewitness.standings.queries.evidence import as_evidence
from scalewitness.standings.queries.linkage import origin_of
from scalewitness.standings.queries.numbers import Numbers, as_adopted
from scalewitness.standings.queries.records import as_weighed

KINDS = frozenset(
    {
        "animal_registered",
        "particulars_corrected",
        "linkage_stated",
        "identifier_assigned",
        "identifier_withdrawn",
        "registered_in_error",
        "joining_proposed",
        "parting_proposed",
        "joining_answered",
        "call_made",
        "call_withdrawn",
        "call_refiled",
        "photos_compared",
        "finding_recorded",
        "finding_answered",
        "dispute_opened",
        "standing_changed",
        "policy_adopted",
        "numbers_adopted",
        "examiner_record_changed",
        "deceit_found",
    }
)


@dataclass(frozen=True, slots=True)
class StandingDifference:
    """A standing that the log does not bear out, by its position."""

    position: int
    animal: UUID
    what: str


@dataclass(slots=True)
class _Past:
    """An animal as the log tells it so far."""

    origin: Origin = field(default_factory=lambda: Origin(""))
    linkage: facts.LinkageStated | None = None
    made: dict[str, tuple[facts.CallMade, str, datetime, int]] = field(default_factory=dict)
    known: dict[str, facts.Circumstance] = field(default_factory=dict)
    gone: set[str] = field(default_factory=set)
    reports: dict[str, facts.ReportStands] = field(default_factory=dict)
    waiting: set[str] = field(default_factory=set)
    parted: set[str] = field(default_factory=set)
    joined: set[str] = field(default_factory=set)
    before: Before = field(default_factory=Before)
    known_elsewhere: bool = False
    photos: dict[str, list[tuple[UUID | None, Compared]]] = field(default_factory=dict)

    def evidence(self, deceivers: Set[UUID]) -> list[Evidence]:
        return [
            as_evidence(
                body,
                self.known[call],
                sender=sender,
                at=at,
                position=position,
                deceived=UUID(sender) in deceivers,
                parted=call in self.parted,
                joined=call in self.joined,
                compared=after_comparisons(self.photos.get(call, ())),
                **self._reported(call),
            )
            for call, (body, sender, at, position) in self.made.items()
            if self.counts(call)
        ]

    def counts(self, call: str) -> bool:
        return call in self.known and call not in self.gone and call not in self.waiting

    def first_check(self, code: str, until: int, deceivers: Set[UUID]) -> int | None:
        """Where it was first checked by somebody else under the code; or, before that position, at
        all: in their own word, which has a footing, and without an interest."""
        found = (
            position
            for call, (body, sender, _, position) in self.made.items()
            if self.counts(call)
            and body.reported is None
            and UUID(sender) not in deceivers
            and call not in self.joined
            and is_disinterested(self.known[call])
            and (position < until or was_read(body.identified, self.known[call], code))
        )
        return min(found, default=None)

    def _reported(self, call: str) -> dict[str, Any]:
        stands = self.reports.get(call)
        if stands is None:
            return {}
        return {"report": stands.report, "report_footing": stands.footing}


def is_disinterested(known: facts.Circumstance) -> bool:
    shares = known.interested or known.one_with is not None
    return not shares and known.footing != "none" and known.identity != "mismatch"


def was_read(identified: facts.Identification, known: facts.Circumstance, code: str) -> bool:
    """Whether this transponder's code was read at the check."""
    if known.identity != "confirmed" or identified.by != "transponder" or not identified.code:
        return False
    return plain_code(identified.by, identified.code) == code


def unseen(position: int) -> None:
    """Nobody looks on."""


class Replay:
    """Walks the log once. ``checked`` counts the standings recomputed so far.

    Standings before ``since`` are taken as checked; what they rest on is followed all the
    same. ``seen`` is told each position once all about it has been said.
    """

    def __init__(self, since: int = 0, seen: Callable[[int], None] = unseen) -> None:
        self.checked = 0
        self.position = 0
        self._since, self._seen = since, seen
        self._animals: dict[UUID, _Past] = {}
        self._disputed: dict[UUID, UUID] = {}
        self._transponders = BorneTransponders[UUID]()
        self._snakes = JoinedRecords[UUID]()
        self._yardstick = Yardstick()
        self._learned: dict[str, Numbers] = {}
        self._records: dict[UUID, facts.ExaminerRecordChanged] = {}
        self._records_from = 0
        self._deceivers: set[UUID] = set()
        rows = Standing.objects.filter(position__gte=since).order_by("position")
        self._stored = rows.iterator(chunk_size=1000)
        self._row = next(self._stored, None)

    def differences(self) -> Iterator[StandingDifference]:
        for entry in entries_by_position(KINDS):
            self.position = entry.position
            leaf = leaf_of(entry)
            body = msgspec.convert(leaf.body, facts.BODIES[entry.kind])
            if isinstance(body, facts.StandingChanged):
                yield from self._check(entry, body)
            else:
                self._follow(entry, body)
            self._seen(entry.position)
        yield from self._strays(None)

    def _strays(self, before: int | None) -> Iterator[StandingDifference]:
        """Stored standings that the log does not have, up to a position or to the end."""
        while self._row is not None and (before is None or self._row.position < before):
            what = "a standing that the log does not hold"
            yield StandingDifference(self._row.position, self._row.animal_id, what)
            self._row = next(self._stored, None)

    def _follow(self, entry: Entry, body: Any) -> None:
        about = entry.about
        if about is None:
            return
        match body:
            case facts.PolicyAdopted():
                self._yardstick = adopted_yardstick(body)
            case facts.NumbersAdopted():
                self._learned[body.version] = as_adopted(body.version, body.kept, body.numbers)
            case facts.ExaminerRecordChanged():
                self._records[about] = body
                self._records_from = entry.position
            case facts.DeceitFound():
                self._deceivers.add(about)
            case _:
                self._follow_animal(about, entry, body)

    def _follow_animal(self, about: UUID, entry: Entry, body: Any) -> None:
        match body:
            case facts.Particulars():
                self._past(about).origin = origin_of(body)
            case facts.LinkageStated():
                self._past(about).linkage = body
            case facts.DisputeOpened():
                self._disputed[about] = UUID(body.animal)
            case facts.FindingRecorded() | facts.FindingAnswered():
                self._past(self._disputed[about]).gone.update(body.set_aside)
            case _:
                self._follow_calls(about, entry, body)
                self._follow_identity(about, entry, body)

    def _follow_identity(self, about: UUID, entry: Entry, body: Any) -> None:
        match body:
            case facts.IdentifierAssigned():
                self._transponders.assign(about, body.scheme, body.code, entry.position)
            case facts.IdentifierWithdrawn():
                self._transponders.withdraw(about, body.scheme, body.code)
            case facts.RegisteredInError():
                self._transponders.forget(about)
            case facts.JoiningProposed():
                self._snakes.propose(str(entry.fact), about)
            case facts.PartingProposed():
                self._snakes.propose(str(entry.fact), about, body.joining)
            case facts.JoiningAnswered():
                self._snakes.answer(body.proposal, about, agrees=body.agrees)

    def _follow_calls(self, about: UUID, entry: Entry, body: Any) -> None:
        match body:
            case facts.CallMade():
                made = (body, str(entry.by), entry.claimed_at, entry.position)
                self._past(about).made[str(entry.fact)] = made
            case facts.CallWithdrawn():
                self._past(about).gone.add(body.call)
            case facts.PhotosCompared():
                answers = self._past(about).photos.setdefault(body.call, [])
                answers.append((entry.by, body.answer))
            case facts.CallRefiled():
                self._refile(about, entry, body)

    def _refile(self, about: UUID, entry: Entry, body: facts.CallRefiled) -> None:
        """The call counts on this animal from here on, and on the other no more."""
        call = entry_of(UUID(body.call))
        if call is None or call.about is None:
            return
        made = msgspec.convert(leaf_of(call).body, facts.CallMade)
        self._past(call.about).gone.add(body.call)
        refiled = (made, str(entry.by), call.claimed_at, entry.position)
        self._past(about).made[str(entry.fact)] = refiled

    def _measured_by(self, version: str) -> Yardstick:
        """With the numbers that a standing names: a later release may bring others."""
        numbers = self._learned.get(version) or Numbers(load_parameters(version))
        records = as_weighed(self._records_from, self._records, numbers.parameters)
        return replace(
            self._yardstick,
            numbers=numbers.parameters,
            kept=numbers.kept,
            records=records if self._records else EMPTY,
        )

    def _past(self, animal: UUID) -> _Past:
        return self._animals.setdefault(animal, _Past())

    def _check(self, entry: Entry, logged: facts.StandingChanged) -> Iterator[StandingDifference]:
        animal = entry.about
        if animal is None:
            return
        past = self._past(animal)
        past.known |= {known.call: known for known in logged.admitted}
        past.reports |= {one.call: one for one in logged.reports}
        past.waiting |= {known.call for known in logged.admitted if known.waits}
        for one in self._snakes.same_snake(animal):
            self._past(one).waiting -= set(logged.counted)
        past.parted |= set(logged.parted)
        past.joined |= set(logged.joined)
        if entry.position >= self._since:
            self.checked += 1
            yield from self._recompute(entry, past, animal, logged)
            yield from self._look_elsewhere(entry, past, animal, logged)
            yield from self._strays(entry.position)
            yield from self._compare(entry, animal, logged)
        past.known_elsewhere = logged.known_elsewhere
        past.before = Before(
            logged.label, logged.p_male, logged.parameters, logged.verified_with or ""
        )

    def _recompute(
        self, entry: Entry, past: _Past, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        by = self._measured_by(logged.parameters)
        evidence = past.evidence(self._deceivers)
        own = len(evidence)
        for one in self._snakes.same_snake(animal) - {animal}:
            evidence += self._past(one).evidence(self._deceivers)
        others = len(evidence) - own
        if others != logged.calls_elsewhere:
            what = f"counts {logged.calls_elsewhere} calls of other records, not {others}"
            yield StandingDifference(entry.position, animal, what)
        start = start_from(past.linkage, past.origin, by.numbers)

        def calls(one: Yardstick) -> Case:
            elsewhere = logged.known_elsewhere
            return case_by(one, past.origin.species, evidence, start, known_elsewhere=elsewhere)

        settled = settled_by(by, past.before, calls, self._measured_by)
        again = settled.standing
        now = (again.label, share(again.p_male), share(again.p_male_pessimistic))
        rule = (by.policy.version, by.records.version, settled.verified_with)
        if (*now, *rule) != (
            logged.label,
            logged.p_male,
            logged.p_male_pessimistic,
            logged.policy,
            logged.examiner_records,
            logged.verified_with or "",
        ):
            yield StandingDifference(
                entry.position, animal, f"logged {logged.label}, recomputed {now}"
            )

    def _look_elsewhere(
        self, entry: Entry, past: _Past, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        """Once said, it is so until the number is another's no more. A record that had its number
        before this was asked is told so with the next fact about it; and once it was the first
        record's, whoever had checked either."""
        own = self._snakes.same_snake(animal)
        elsewhere = self._transponders.holders(animal, self._first_check) - own
        first = self._transponders.first_bearers(animal) - own
        if logged.known_elsewhere and not (elsewhere or first):
            yield StandingDifference(entry.position, animal, "its number is not known elsewhere")
        if elsewhere and past.known_elsewhere and not logged.known_elsewhere:
            what = "its number is known elsewhere, which is not said any more"
            yield StandingDifference(entry.position, animal, what)

    def _first_check(self, animal: UUID, code: str, until: int) -> int | None:
        return self._past(animal).first_check(code, until, self._deceivers)

    def _compare(
        self, entry: Entry, animal: UUID, logged: facts.StandingChanged
    ) -> Iterator[StandingDifference]:
        row = self._row
        if row is None or row.position != entry.position:
            yield StandingDifference(entry.position, animal, "the stored standing is missing")
            return
        self._row = next(self._stored, None)
        stated = ("label", "p_male", "p_male_pessimistic", "known_elsewhere", "calls_elsewhere")
        if any(getattr(row, one) != getattr(logged, one) for one in stated):
            yield StandingDifference(
                entry.position, animal, "the stored standing differs from the log"
            )
