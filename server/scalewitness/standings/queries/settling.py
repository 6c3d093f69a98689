"""Making up examiners' records: how their calls fared on animals that others settled."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import datetime
from uuid import UUID

import msgspec
from django.db.models import OuterRef, Q, QuerySet, Subquery

from scalewitness.animals.models import Animal
from scalewitness.animals.models import Collection as AnimalCollection
from scalewitness.calls.models import Call
from scalewitness.domain.facts import ExaminerRecordChanged, SettledCounts
from scalewitness.domain.sexing.case import case_of
from scalewitness.domain.sexing.evidence import Evidence, Role, asks_for_confirmation
from scalewitness.domain.sexing.examiners.posterior import (
    Counts,
    Determination,
    Key,
    Proof,
    settle,
    settled,
)
from scalewitness.domain.sexing.labels import is_decisive
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Grant
from scalewitness.standings.queries.assessing import origin_at, yardstick
from scalewitness.standings.queries.awaited import counted_until
from scalewitness.standings.queries.evidence import counting_at, evidence_of, with_report
from scalewitness.standings.queries.records import latest_records

Until = Mapping[UUID, Mapping[UUID, int]]
"""As of `counted_until`."""


def changed_records(
    now: datetime, of: Collection[UUID] | None = None
) -> dict[UUID, ExaminerRecordChanged]:
    """The examiners' records, or those ``of`` some, that are other than the latest stated. One
    that nothing settled speaks to any more, withdrawn calls being gone, has no counts.

    What is counted of an animal that a guest is still to check blind is what the last record
    counted of it.
    """
    known = latest_records(of=of)
    emptied = {who: msgspec.structs.replace(one, counts=(), hosts=0) for who, one in known.items()}
    made = emptied | _made_up(now, of)
    return {who: one for who, one in made.items() if known.get(who) != one}


def may_have_moved(examiner: UUID, since: int) -> bool:
    """Whether entries from log position ``since`` on may bear on what the examiner's record
    counts. Of an unknown kind, or one that tells of many animals, they may."""
    came_in = Entry.objects.filter(position__gte=since).exclude(kind__in=_NEVER_BEAR_ON_IT)
    called = Call.objects.filter(examiner=examiner).values("animal")
    elsewhere = Q(kind__in=_ABOUT_ONE) & ~Q(about__in=called) & ~Q(about=examiner)
    return came_in.exclude(elsewhere).exists()


_NEVER_BEAR_ON_IT = (
    "animal_registered", "identifier_assigned", "identifier_withdrawn", "husbandry_noted",
    "standing_changed",
)  # fmt: skip
_ABOUT_ONE = (
    "call_made", "call_withdrawn", "particulars_corrected", "examiner_record_changed",
)  # fmt: skip
"""Kinds about one animal, or about one examiner."""


def _made_up(now: datetime, of: Collection[UUID] | None) -> dict[UUID, ExaminerRecordChanged]:
    calls = counted_calls(now, None if of is None else _called_by(of))
    if of is not None:
        calls = [call for call in calls if UUID(call.examiner) in of]
    counts = settled(calls)
    return _as_facts(counts, _roles({examiner for examiner, _, _ in counts}), _hosts(calls))


def counted_calls(now: datetime, animals: Collection[UUID] | None = None) -> list[Determination]:
    """All calls, or those on ``animals``, as records may count them: whatever is learned from
    settled animals, and shown, is learned from these."""
    until = counted_until(now, animals)
    return [*_freely_counted(until, animals), *_counted_before(until)]


def _called_by(examiners: Collection[UUID]) -> set[UUID]:
    return set(Call.objects.filter(examiner__in=examiners).values_list("animal", flat=True))


def _freely_counted(until: Until, animals: Collection[UUID] | None) -> Iterator[Determination]:
    rule = yardstick()
    for call in settled_calls(rule.policy, rule.numbers, animals):
        if UUID(call.animal) not in until:
            yield call


def _counted_before(until: Until) -> Iterator[Determination]:
    """By the rule that was in force then."""
    together: defaultdict[int, set[tuple[str, str]]] = defaultdict(set)
    for animal, examiners in until.items():
        for examiner, position in examiners.items():
            together[position].add((str(examiner), str(animal)))
    for position, pairs in together.items():
        rule = yardstick(position)
        animals = {UUID(animal) for _, animal in pairs}
        for call in settled_calls(rule.policy, rule.numbers, animals, position):
            if (call.examiner, call.animal) in pairs:
                yield call


def settled_calls(
    policy: Policy,
    numbers: Parameters,
    animals: Collection[UUID] | None = None,
    at: int | None = None,
) -> list[Determination]:
    """All counting calls, or those on ``animals``, in log order, their truth filled in from
    others' proofs; as things are, or just after the fact at log position ``at``."""
    calls = counting_at(at)
    if animals is not None:
        calls = calls.filter(animal__in=animals)
    return settle(_determinations(calls), proofs_of(calls, policy, numbers, at))


def _determinations(calls: QuerySet[Call]) -> list[Determination]:
    fields = calls.values_list("examiner", "method", "animal", "conclusion", "blind")
    return [
        msgspec.convert(
            {
                "examiner": str(examiner),
                "method": method,
                "animal": str(animal),
                "conclusion": conclusion,
                "blind": blind,
            },
            Determination,
        )
        for examiner, method, animal, conclusion, blind in fields.iterator()
    ]


def proofs_of(
    calls: QuerySet[Call],
    policy: Policy,
    numbers: Parameters,
    at: int | None = None,
    among: Collection[UUID] | None = None,
) -> list[Proof]:
    """Decisive observations, weighed without anyone's record, so that no record feeds itself.
    ``among``: on these animals alone."""
    calls = calls if among is None else calls.filter(animal__in=among)
    by_animal: defaultdict[UUID, list[Evidence]] = defaultdict(list)
    decisive = calls.filter(method__in=list(policy.decisive))
    for call in with_report(decisive, at).iterator():
        seen = evidence_of(call)
        if settles(seen, numbers.version):
            by_animal[call.animal_id].append(seen)
    found: list[Proof] = []
    changed = set() if at is None else _corrected_since(at, by_animal)
    for animal in Animal.objects.filter(pk__in=by_animal):
        species = origin_at(animal, at).species if at and animal.pk in changed else animal.species
        found += _decisive(animal.pk, species, by_animal[animal.pk], policy, numbers)
    return found


def settles(call: Evidence, parameters: str) -> bool:
    """Whether it may settle an animal at all: not on its sender's word alone, by numbers that
    ask for a confirmation."""
    return not asks_for_confirmation(parameters) or call.report in {"own", "confirmed"}


def _corrected_since(position: int, animals: Iterable[UUID]) -> set[UUID | None]:
    later = Entry.objects.filter(kind="particulars_corrected", position__gt=position)
    return set(later.filter(about__in=list(animals)).values_list("about", flat=True))


def _decisive(
    animal: UUID, species: str, evidence: list[Evidence], policy: Policy, numbers: Parameters
) -> Iterable[Proof]:
    kind = taxon(species, numbers.version)
    case = case_of(evidence, kind, EMPTY, numbers)
    for weighed in case.base.weighed:
        sex = weighed.call.conclusion
        if sex != "undetermined" and is_decisive(weighed, policy):
            yield Proof(str(animal), weighed.call.examiner, sex)


def _roles(examiners: Collection[str]) -> dict[str, Role]:
    """Each examiner's role, by their latest call."""
    calls = Call.objects.filter(examiner__in=examiners).order_by("examiner", "-position")
    rows = calls.distinct("examiner").values_list("examiner", "role")
    return {str(examiner): msgspec.convert(role, Role) for examiner, role in rows}


def _hosts(calls: Iterable[Determination]) -> dict[str, int]:
    """For how many other keepers each examiner made the calls that their record counts."""
    counted = {
        (call.examiner, call.animal)
        for call in calls
        if call.blind and call.truth is not None and call.conclusion != "undetermined"
    }
    made = Call.objects.filter(blind=True, animal__in={animal for _, animal in counted})
    grant = Grant.objects.filter(pk=OuterRef("visit")).values("collection")
    host = AnimalCollection.objects.filter(pk=OuterRef("room")).values("keeper")
    rows = made.annotate(room=Subquery(grant)).annotate(host=Subquery(host))
    hosts: defaultdict[str, set[UUID]] = defaultdict(set)
    for examiner, animal, keeper in rows.values_list("examiner", "animal", "host"):
        if keeper is not None and (str(examiner), str(animal)) in counted:
            hosts[str(examiner)].add(keeper)
    return {examiner: len(keepers) for examiner, keepers in hosts.items()}


def _as_facts(
    counts: Mapping[Key, Counts], roles: Mapping[str, Role], hosts: Mapping[str, int]
) -> dict[UUID, ExaminerRecordChanged]:
    by_examiner: defaultdict[str, list[SettledCounts]] = defaultdict(list)
    for (examiner, method, sex), found in sorted(counts.items()):
        if found.wrong or found.right:
            by_examiner[examiner].append(
                SettledCounts(method=method, sex=sex, wrong=found.wrong, right=found.right)
            )
    return {
        UUID(examiner): ExaminerRecordChanged(
            role=roles[examiner], counts=tuple(found), hosts=hosts.get(examiner, 0)
        )
        for examiner, found in by_examiner.items()
    }
