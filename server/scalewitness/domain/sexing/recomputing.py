"""Standings worked out again from the log, fact by fact in its order.

A replay of the whole log and a reader who has only what one standing rests on use the same code.
"""

from collections.abc import Callable, Set
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.domain import facts
from scalewitness.domain.joining import JoinedRecords
from scalewitness.domain.sexing.case import Case, share
from scalewitness.domain.sexing.gauge import Gauge, Numbers, as_adopted, case_by, settled_by
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, Policy, adopted
from scalewitness.domain.sexing.records import EMPTY, as_weighed
from scalewitness.domain.sexing.so_far import AnimalSoFar
from scalewitness.domain.sexing.stated_linkage import origin_stated, start_from

KINDS = frozenset(
    {
        "animal_registered",
        "particulars_corrected",
        "linkage_stated",
        "joining_proposed",
        "parting_proposed",
        "joining_answered",
        "call_made",
        "call_withdrawn",
        "call_refiled",
        "photos_compared",
        "dispute_opened",
        "finding_recorded",
        "finding_answered",
        "standing_changed",
        "policy_adopted",
        "numbers_adopted",
        "examiner_record_changed",
        "deceit_found",
    }
)
"""Facts that a standing may follow from."""


class OrderedFact(NamedTuple):
    """A fact: its id, by whom, when as claimed, its place in the log, what it is about and says."""

    id: str
    by: UUID | None
    at: datetime
    position: int
    about: UUID
    body: Any


class RecomputedStanding(NamedTuple):
    """A standing as a fact states it, worked out again; ``calls_elsewhere``: how many calls of
    other records of the same snake count with it."""

    label: facts.Label
    p_male: str
    p_male_pessimistic: str
    policy: str
    examiner_records: str
    verified_with: str
    calls_elsewhere: int


class Rules:
    """What holds for all animals, as far as facts were followed."""

    def __init__(self) -> None:
        self._policy: Policy = DEFAULT_POLICY
        self._learned: dict[str, Numbers] = {}
        self._records: dict[UUID, facts.ExaminerRecordChanged] = {}
        self._records_from = 0
        self._deceivers: set[str] = set()

    @property
    def deceivers(self) -> Set[str]:
        """Whom a finding of deceit names."""
        return self._deceivers

    def follow(self, fact: OrderedFact) -> bool:
        """Take it in; False where it is of no animal's rules."""
        body = fact.body
        match body:
            case facts.PolicyAdopted():
                self._policy = adopted(body.version, body.thresholds)
            case facts.NumbersAdopted():
                self._learned[body.version] = as_adopted(body.version, body.kept, body.numbers)
            case facts.ExaminerRecordChanged():
                self._records[fact.about] = body
                self._records_from = fact.position
            case facts.DeceitFound():
                self._deceivers.add(str(fact.about))
            case _:
                return False
        return True

    def measured_by(self, version: str, examiners: Set[str]) -> Gauge:
        """With the numbers of that version; of records at least those of these examiners."""
        numbers = self._learned.get(version) or Numbers(load_parameters(version))
        records = EMPTY
        if self._records:
            records = as_weighed(self._records_from, self._records, numbers.parameters)
        return Gauge(self._policy, numbers.parameters, records, numbers.kept)


class Recomputing:
    """Follows facts in log order; one that bears on no standing changes nothing. ``call_of``: what
    made a call, by its id, for when it is filed anew; None: that is not known here. ``rules``:
    where those are followed apart."""

    def __init__(
        self, call_of: Callable[[str], OrderedFact | None], rules: Rules | None = None
    ) -> None:
        self._call_of = call_of
        self._animals: dict[UUID, AnimalSoFar] = {}
        self._disputed: dict[UUID, UUID] = {}
        self._snakes = JoinedRecords[UUID]()
        self.rules = rules or Rules()

    def past(self, animal: UUID) -> AnimalSoFar:
        """The animal as it is so far."""
        found = self._animals.get(animal)
        if found is None:
            found = self._animals[animal] = AnimalSoFar()
        return found

    def same_snake(self, animal: UUID) -> set[UUID]:
        """All records of the snake, this one among them."""
        return self._snakes.same_snake(animal)

    def follow(self, fact: OrderedFact) -> None:
        """The next fact, but for a standing, which `work_out` and `stand` are for."""
        if not self.rules.follow(fact):
            self._follow_animal(fact)

    def _follow_animal(self, fact: OrderedFact) -> None:
        about, body = fact.about, fact.body
        match body:
            case facts.Particulars():
                self.past(about).origin = origin_stated(body)
            case facts.LinkageStated():
                self.past(about).linkage = body
            case facts.DisputeOpened():
                self._disputed[about] = UUID(body.animal)
            case facts.FindingRecorded() | facts.FindingAnswered():
                self.past(self._disputed[about]).gone.update(body.set_aside)
            case _:
                self._follow_calls(fact)
                self._follow_joining(fact)

    def _follow_joining(self, fact: OrderedFact) -> None:
        about, body = fact.about, fact.body
        match body:
            case facts.JoiningProposed():
                self._snakes.propose(fact.id, about)
            case facts.PartingProposed():
                self._snakes.propose(fact.id, about, body.joining)
            case facts.JoiningAnswered():
                self._snakes.answer(body.proposal, about, agrees=body.agrees)

    def _follow_calls(self, fact: OrderedFact) -> None:
        past, body = self.past(fact.about), fact.body
        match body:
            case facts.CallMade():
                past.made[fact.id] = (body, str(fact.by), fact.at, fact.position)
            case facts.CallWithdrawn():
                past.gone.add(body.call)
            case facts.PhotosCompared():
                past.photos.setdefault(body.call, []).append((fact.by, body.answer))
            case facts.CallRefiled():
                self._refile(fact, body)

    def _refile(self, fact: OrderedFact, body: facts.CallRefiled) -> None:
        """The call counts on this animal from here on, and on the other no more."""
        call = self._call_of(body.call)
        if call is None:
            return
        self.past(call.about).gone.add(body.call)
        refiled = (call.body, str(fact.by), call.at, fact.position)
        self.past(fact.about).made[fact.id] = refiled

    def admit(self, animal: UUID, stated: facts.StandingChanged) -> None:
        """What a standing states of calls, before it is worked out."""
        self.past(animal).admit(stated)
        for one in self.same_snake(animal):
            self.past(one).waiting -= set(stated.counted)

    def work_out(self, animal: UUID, stated: facts.StandingChanged) -> RecomputedStanding:
        """What that standing should have been, by the numbers that it names: a later release may
        bring others. Raises UnknownVersion."""
        past, deceivers = self.past(animal), self.rules.deceivers
        evidence = past.evidence(deceivers)
        own = len(evidence)
        for one in self.same_snake(animal) - {animal}:
            evidence += self.past(one).evidence(deceivers)
        examiners = {one.examiner for one in evidence}

        def measured_by(version: str) -> Gauge:
            return self.rules.measured_by(version, examiners)

        by = measured_by(stated.parameters)
        start = start_from(past.linkage, past.origin, by.numbers)

        def calls(one: Gauge) -> Case:
            elsewhere = stated.known_elsewhere
            return case_by(one, past.origin.species, evidence, start, known_elsewhere=elsewhere)

        settled = settled_by(by, past.before, calls, measured_by)
        again = settled.standing
        return RecomputedStanding(
            again.label,
            share(again.p_male),
            share(again.p_male_pessimistic),
            by.policy.version,
            by.records.version,
            settled.verified_with,
            len(evidence) - own,
        )

    def stand(self, animal: UUID, stated: facts.StandingChanged) -> None:
        """The next standing of the animal follows this one."""
        self.past(animal).stand(stated)
