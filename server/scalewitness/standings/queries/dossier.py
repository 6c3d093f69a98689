"""All that is known of one animal's sex, ready to be shown to someone who may see it."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar
from uuid import UUID

from msgspec.structs import replace

from scalewitness.animals.models import Animal, Photo
from scalewitness.animals.queries import photos_of
from scalewitness.animals.queries.joining import same_snake
from scalewitness.calls.models import Attestation, Call, Objection, PhotoComparison
from scalewitness.calls.queries.held import LateChecks, late_checks_of
from scalewitness.calls.queries.made import all_calls
from scalewitness.calls.queries.reports import compared_of, report_of
from scalewitness.domain.sexing.evidence import Compared, Evidence, Report
from scalewitness.domain.sexing.explain import ReasonLine, Short, explain, in_short
from scalewitness.domain.sexing.sensitivity import Sensitivity, hundredths
from scalewitness.domain.sexing.standing import Assessment, CallWeight, SessionWeight
from scalewitness.domain.sexing.stated_linkage import Start, with_linkage
from scalewitness.domain.sexing.taxa import Taxon, as_learned, taxon
from scalewitness.domain.sexing.used import RecordUsed
from scalewitness.ledger.queries.entries import signed_among, texts_of
from scalewitness.people.queries import deceivers_among, names_of
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.assessing import (
    Yardstick,
    assess_animal,
    case_by,
    sensitivity_by,
    start_at,
    yardstick,
)
from scalewitness.standings.queries.evidence import (
    StatedCall,
    calls_on,
    evidence_of,
    waiting_on,
)
from scalewitness.standings.queries.logged import standings_of

Rested = TypeVar("Rested", SessionWeight, RecordUsed)
"""What rests on some of the calls."""
Texts = dict[tuple[UUID, str], str]
"""Free text by fact and field."""


@dataclass(frozen=True, slots=True)
class ShownCall:
    """A call with what people see beside it. ``weight`` is None when it does not count;
    ``signed``: its entry carries the signature of the device that sent it; ``report``: whose
    word it is; ``compared``: what photos say of which animal it was; ``deceived``: a finding names
    whoever sent it."""

    call: Call
    examiner_name: str
    sender_name: str
    note: str | None
    weight: CallWeight | None
    signed: bool
    report: Report
    compared: Compared | None
    deceived: bool

    @property
    def counts(self) -> bool:
        return self.weight is not None

    @property
    def withdrawn(self) -> bool:
        return hasattr(self.call, "withdrawal")

    @property
    def set_aside(self) -> bool:
        return hasattr(self.call, "set_aside")

    @property
    def waiting(self) -> bool:
        """Whether it contradicts a verified sex without a footing, and waits for an answer."""
        gone = self.withdrawn or self.set_aside or self.refiled
        return self.call.waits and not self.counts and not gone

    @property
    def refiled(self) -> bool:
        """Whether it counts on another animal instead."""
        return hasattr(self.call, "refiled")


@dataclass(frozen=True)
class Dossier:
    animal: Animal
    taxon: Taxon
    standings: tuple[Standing, ...]
    """All that were logged until then, in log order."""
    same: frozenset[UUID]
    """The records of this snake: its own and those that it was joined with."""
    assessment: Assessment
    start: Start
    """Where the answer starts before any check."""
    calls: tuple[ShownCall, ...]
    names: dict[UUID, str]
    texts: Texts
    photos: tuple[Photo, ...]
    """Of the animal and of calls on it, in log order."""
    position: int | None
    """Just after which fact the evidence is taken; None: as it is now."""
    by: Yardstick
    evidence: list[Evidence]
    species: str
    """As it was then said to be."""
    waited: list[StatedCall]
    """Newcomers' contrary calls that are left out."""

    @property
    def standing(self) -> Standing | None:
        """The one in force; None: nothing that could tell a sex was recorded yet."""
        return self.standings[-1] if self.standings else None

    @cached_property
    def late(self) -> LateChecks:
        """Those that do not count, as they are now; looked up when asked for."""
        return late_checks_of(self.animal.pk)

    @cached_property
    def sensitivity(self) -> Sensitivity:
        """How far the answer moves when the model's numbers do; worked out when asked for."""
        elsewhere = "known_elsewhere" in self.assessment.reasons
        found = sensitivity_by(
            self.by, self.taxon, self.evidence, self.start, known_elsewhere=elsewhere
        )
        # First its own, also where that is one that older numbers keep.
        labels = dict.fromkeys((self.assessment.label, *found.labels))
        others = {call.examiner for call in self.evidence}
        others -= {str(shown.call.examiner) for shown in self.calls}
        moves = tuple(one for one in found.moves if not _is_of(others, one.name))
        return replace(found, labels=tuple(labels), moves=moves)

    @cached_property
    def lines(self) -> tuple[ReasonLine, ...]:
        """The answer with its range, and what it rests on."""
        answer, *others = explain(self.assessment, self._own, self.taxon, self.sensitivity)
        waiting = [ReasonLine("reason", self._waiting)] if self.waited else []
        joined = [ReasonLine("reason", text) for text in self._joined]
        return with_linkage((answer, *waiting, *joined, *others), self.start)

    @property
    def short(self) -> Short:
        """The answer in a sentence, with the weightiest reason for it."""
        return in_short(self.assessment, self._own, self.sensitivity)

    @property
    def _own(self) -> list[Evidence]:
        """Without the calls of other records of the same snake."""
        own = {call.call for call in self.assessment.weights}
        return [call for call in self.evidence if call.call in own]

    @property
    def elsewhere(self) -> int:
        """How many calls on other records of the same snake are counted."""
        return len(self.evidence) - len(self.assessment.weights)

    @property
    def _joined(self) -> Iterable[str]:
        if self.elsewhere:
            some = "One call" if self.elsewhere == 1 else f"{self.elsewhere} calls"
            counts = "counts" if self.elsewhere == 1 else "count"
            yield (
                f"{some} of another record {counts} too: the keepers of both, or a finding, say "
                "that the two are of one snake. Only whoever may see that record can read "
                "those calls."
            )

    @property
    def _waiting(self) -> str:
        """Of contrary calls that are left out, and what the answer would be with them."""
        found = case_by(
            self.by, self.species, [*self.evidence, *map(evidence_of, self.waited)], self.start
        ).standing(self.by.policy)
        share = found.p_male if self.assessment.favoured == "male" else 1 - found.p_male
        return (
            "A contrary call by somebody whose word alone verifies nothing waits for an answer and "
            f"is not in this figure; with it, about {hundredths(share)} in 100 would be "
            f"{self.assessment.favoured}."
        )


def dossier(animal: Animal, at: int | None = None) -> Dossier:
    """The animal's evidence as it stands, or stood at log position ``at``; the caller has
    checked that it may be shown."""
    standings = [one for one in standings_of(animal.pk) if at is None or one.position <= at]
    standing = standings[-1] if standings else None
    # The standing came after its cause, and nothing about it changed until the next.
    position = None if at is None else standing.position if standing else -1
    by = yardstick(position, standing.parameters if standing else None)
    origin, start = start_at(animal, by, position)
    same = same_snake(animal.pk, position)
    evidence = [evidence_of(one) for one in calls_on(same, position)]
    assessment = assess_animal(origin.species, evidence, by, start, standing)
    kind = as_learned(taxon(origin.species, by.parameters), by.numbers.base)
    calls = [call for call in all_calls(animal.pk) if at is None or call.position <= at]
    assessment = _of_own(assessment, calls)
    people = {person for call in calls for person in _people(call)}
    names, texts = names_of(people), texts_of(one for call in calls for one in _facts(call))
    return Dossier(
        animal=animal,
        taxon=kind,
        standings=tuple(standings),
        same=frozenset(same),
        assessment=assessment,
        start=start,
        calls=tuple(_shown(calls, assessment, names, texts, at)),
        names=names,
        texts=texts,
        photos=tuple(one for one in photos_of(animal.pk) if at is None or one.position <= at),
        position=position,
        by=by,
        evidence=evidence,
        species=origin.species,
        waited=waiting_on(same, position),
    )


def _is_of(examiners: set[str], number: str) -> bool:
    """Whether a number is the own record of one of these examiners, which it names."""
    kind, _, whose = number.partition(".")
    return kind == "record" and whose.partition(".")[0] in examiners


def _of_own(assessment: Assessment, calls: Iterable[Call]) -> Assessment:
    """With the account of the record's own calls alone: those on others of the same snake count,
    and are for whoever may see them there."""
    own = {str(call.pk) for call in calls}
    if all(one.call in own for one in assessment.weights):
        return assessment

    def of_own(rows: Iterable[Rested]) -> tuple[Rested, ...]:
        kept = (replace(one, calls=tuple(c for c in one.calls if c in own)) for one in rows)
        return tuple(one for one in kept if one.calls)

    return replace(
        assessment,
        weights=tuple(one for one in assessment.weights if one.call in own),
        sessions=of_own(assessment.sessions),
        settled=of_own(assessment.settled),
    )


def _people(call: Call) -> Iterable[UUID]:
    """Everyone named beside a call: examiner, sender, whoever objected or spoke of it."""
    return (call.examiner, call.by, *(one.by for one in _beside(call) if one.by))


def _facts(call: Call) -> Iterable[UUID]:
    """The call and what was stated about it: the facts that may carry a note."""
    withdrawn = (call.withdrawal.pk,) if hasattr(call, "withdrawal") else ()
    return (call.pk, *withdrawn, *(one.pk for one in _beside(call)))


def _beside(call: Call) -> list[Objection | Attestation | PhotoComparison]:
    return [*call.objections.all(), *call.attestations.all(), *call.comparisons.all()]


def _shown(
    calls: list[Call],
    assessment: Assessment,
    names: dict[UUID, str],
    texts: Texts,
    at: int | None,
) -> Iterable[ShownCall]:
    weights = {weight.call: weight for weight in assessment.weights}
    signed = signed_among(call.pk for call in calls)
    deceivers = deceivers_among((call.by for call in calls), at)
    for call in calls:
        yield ShownCall(
            call=call,
            examiner_name=names.get(call.examiner, "unknown"),
            sender_name=names.get(call.by, "unknown"),
            note=texts.get((call.pk, "note")),
            weight=weights.get(str(call.pk)),
            signed=call.pk in signed,
            report=report_of(call, at),
            compared=compared_of(call, at),
            deceived=call.by in deceivers,
        )
