"""All that is known of one animal's sex, ready to be shown to someone who may see it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, TypeVar
from uuid import UUID

from django.db.models import Prefetch, QuerySet, prefetch_related_objects
from msgspec.structs import replace

from scalewitness.animals.models import Animal, Photo
from scalewitness.animals.queries import photos_of
from scalewitness.calls.models import Attestation, Call, Objection, PhotoComparison
from scalewitness.calls.queries.held import LateChecks, late_checks, left_out
from scalewitness.calls.queries.reports import compared_of, report_of
from scalewitness.domain.sexing.evidence import Compared, Evidence, Report
from scalewitness.domain.sexing.explain import ReasonLine, Short, explain, in_short
from scalewitness.domain.sexing.gauge import case_by
from scalewitness.domain.sexing.linkage_words import with_linkage
from scalewitness.domain.sexing.sensitivity import Sensitivity, hundredths
from scalewitness.domain.sexing.standing import Assessment, CallWeight, SessionWeight
from scalewitness.domain.sexing.stated_linkage import Start
from scalewitness.domain.sexing.taxa import Taxon, as_learned, taxon
from scalewitness.domain.sexing.used import RecordUsed
from scalewitness.ledger.queries.entries import note_beside, signing_device
from scalewitness.ledger.queries.together import read_together
from scalewitness.people.queries import names_of
from scalewitness.people.queries.own_word import by_password_only
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.assessing import (
    Yardstick,
    assess_animal,
    sensitivity_by,
)
from scalewitness.standings.queries.basis import StandingBasis, basis_from
from scalewitness.standings.queries.evidence import CallAsMade, StatedCall, evidence_of
from scalewitness.standings.queries.linkage import linkages_of
from scalewitness.standings.queries.logged import StandingHeard, standings_of

Rested = TypeVar("Rested", SessionWeight, RecordUsed)
"""What rests on some of the calls."""
BESIDE: Final[Mapping[str, QuerySet[Any]]] = {
    "objections": Objection.objects.all(),
    "attestations": Attestation.objects.all(),
    "comparisons": PhotoComparison.objects.all(),
}
"""What others may say beside a call, by the name of its relation."""


@dataclass(frozen=True, slots=True)
class ShownCall:
    """A call with what people see beside it. ``weight`` is None when it does not count;
    ``signed``: its entry carries the signature of the device that sent it, ``by_password_only``
    whose key no other device of its keeper endorsed; its entry commits to the ``note`` under
    ``note_salt``; ``report``: whose word it is; ``compared``:
    what photos say of which animal it was; ``deceived``: a finding names whoever sent it."""

    call: Call
    examiner_name: str
    sender_name: str
    note: str | None
    note_salt: bytes | None
    weight: CallWeight | None
    signed: bool
    by_password_only: bool
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
    basis: StandingBasis
    taxon: Taxon
    start: Start
    """Where the answer starts before any check."""
    assessment: Assessment
    calls: tuple[ShownCall, ...]
    names: dict[UUID, str]
    notes: dict[UUID, str]
    """Of the calls and of what was said of them, by fact."""
    photos: tuple[Photo, ...]
    """Of the animal and of calls on it, in log order."""
    late: LateChecks
    """Those that do not count, as they are now."""

    @property
    def animal(self) -> Animal:
        return self.basis.animal

    @property
    def standings(self) -> tuple[StandingHeard, ...]:
        return self.basis.standings

    @property
    def by(self) -> Yardstick:
        return self.basis.by

    @property
    def evidence(self) -> list[Evidence]:
        return self.basis.evidence

    @property
    def standing(self) -> Standing | None:
        return self.basis.standing

    @property
    def waited(self) -> list[StatedCall]:
        return self.basis.waited

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
            self.by,
            self.basis.origin.species,
            [*self.evidence, *map(evidence_of, self.waited)],
            self.start,
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
    about = standings_of, linkages_of, photos_of, left_out
    stated, linkages, photos, late = read_together(*(one(animal.pk) for one in about))
    basis = basis_from(animal, stated, linkages, at)
    by, species, start = basis.by, basis.origin.species, basis.start(basis.by.numbers)
    assessment = assess_animal(species, basis.evidence, by, start, basis.standing)
    calls = [one for one in basis.of_its_own if at is None or one.position <= at]
    _read_beside(calls)
    assessment = _of_own(assessment, calls)
    people = {person for call in calls for person in _people(call)}
    names = names_of(people)
    return Dossier(
        basis=basis,
        taxon=as_learned(taxon(species, by.parameters), by.numbers.base),
        start=start,
        assessment=assessment,
        calls=tuple(_shown(calls, assessment, names, at)),
        names=names,
        notes={fact: note for call in calls for fact, note in _notes(call) if note},
        photos=tuple(one for one in photos if at is None or one.position <= at),
        late=late_checks(late),
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


def _read_beside(calls: list[CallAsMade]) -> None:
    """What others said of the calls; not looked for where there is none."""
    for name, rows in BESIDE.items():
        there = any(getattr(call, f"has_{name}") for call in calls)
        found = rows.annotate(note=note_beside("pk")) if there else rows.none()
        prefetch_related_objects(calls, Prefetch(name, found))


def _people(call: Call) -> Iterable[UUID]:
    """Everyone named beside a call: examiner, sender, whoever objected or spoke of it."""
    return (call.examiner, call.by, *(one.by for one in _beside(call) if one.by))


def _notes(call: CallAsMade) -> Iterable[tuple[UUID, str | None]]:
    """Of the call and of what was stated about it."""
    if hasattr(call, "withdrawal"):
        yield call.withdrawal.pk, call.withdrawal_note
    yield from ((one.pk, one.note) for one in (call, *_beside(call)))


def _beside(call: Call) -> list[Any]:
    return [*call.objections.all(), *call.attestations.all(), *call.comparisons.all()]


def _shown(
    calls: Iterable[CallAsMade],
    assessment: Assessment,
    names: dict[UUID, str],
    at: int | None,
) -> Iterable[ShownCall]:
    weights = {weight.call: weight for weight in assessment.weights}
    listed = [(call, signing_device(call.leaf)) for call in calls]
    weak = by_password_only({device for _, device in listed if device})
    for call, device in listed:
        yield ShownCall(
            call=call,
            examiner_name=names.get(call.examiner, "unknown"),
            sender_name=names.get(call.by, "unknown"),
            note=call.note,
            note_salt=call.note_salt,
            weight=weights.get(str(call.pk)),
            signed=device is not None,
            by_password_only=device in weak,
            report=report_of(call, at),
            compared=compared_of(call, at),
            deceived=call.found_out,
        )
