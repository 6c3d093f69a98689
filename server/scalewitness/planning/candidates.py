"""From rows to the candidates that planning weighs: evidence, stage, condition, stakes."""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from scalewitness.animals import queries as herd
from scalewitness.animals.models import Animal, Identifier
from scalewitness.animals.queries.joining import joined
from scalewitness.calls.models import ENDS, Call
from scalewitness.calls.queries.bearing import known_elsewhere
from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.observations import LifeStage, Method
from scalewitness.domain.reports import Quoted
from scalewitness.domain.sexing.evidence import Evidence, Identity
from scalewitness.domain.sexing.feasible import Candidate, Condition, Stake
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.taxa import Taxon, life_stage, taxon
from scalewitness.standings.queries.evidence import StatedCall, evidence_of, with_report
from scalewitness.standings.queries.linkage import starts_of

IN_SHED = frozenset({"opaque", "clear"})


@dataclass(frozen=True, slots=True)
class AtStake:
    """What hangs on the animals, given by those who know of sales, pairings and disputes.
    ``parties``: by keeper, the animals of whose sale they are a party; ``informed``: of keepers
    asked about, the animals whose sex their use told them. ``hanging``: the share of a season that
    is lost with an animal of the other sex, which tells more than that it is ``paired``.
    ``confirmed``: of what practices might be quoted with, that of which their answer would count
    by the word of two keepers."""

    on_sale: Set[UUID] = frozenset()
    disputed: Set[UUID] = frozenset()
    paired: Set[UUID] = frozenset()
    hanging: Mapping[UUID, float] = field(default_factory=dict)
    parties: Mapping[UUID, Set[str]] = field(default_factory=dict)
    informed: Callable[[Iterable[UUID]], Mapping[UUID, Set[UUID]]] = lambda people: {}
    confirmed: Callable[[Collection[Quoted]], Set[Quoted]] = lambda quoted: frozenset()

    def of(self, animal: UUID) -> tuple[Stake, ...]:
        stakes: tuple[tuple[Stake, Set[UUID]], ...] = (
            ("open_sale", self.on_sale),
            ("planned_pairing", self.paired - self.hanging.keys()),
            ("dispute", self.disputed),
        )
        return tuple(stake for stake, animals in stakes if animal in animals)


@dataclass(frozen=True, slots=True)
class Ready:
    """``leave_alone``: why nobody should touch the animal for now, whatever the check."""

    candidate: Candidate
    leave_alone: tuple[str, ...]


def candidates(
    animals: Sequence[Animal], stake: AtStake, numbers: Parameters, now: datetime
) -> list[Ready]:
    """The animals as they are today, in the order given."""
    ids = [animal.pk for animal in animals]
    states, marks, calls = herd.conditions_of(ids), herd.identifiers_of(ids), _calls(ids)
    starts, elsewhere = starts_of(animals, numbers), known_elsewhere(ids)
    found = []
    for animal in animals:
        state, kind = states[animal.pk], taxon(animal.species, numbers.version)
        one = Candidate(
            animal=str(animal.pk),
            taxon=kind,
            stage=stage_on(animal, kind, state.grams, now),
            evidence=_counting(calls[animal.pk]),
            stakes=stake.of(animal.pk),
            hanging=stake.hanging.get(animal.pk, 0.0),
            condition=_condition(state, calls[animal.pk]),
            identity=identity_of(marks.get(animal.pk, [])),
            prior_male=starts[animal.pk].male,
            prior_pessimistic=starts[animal.pk].pessimistic,
            clutch=_clutch(animal),
            known_elsewhere=animal.pk in elsewhere,
        )
        found.append(Ready(one, tuple(_leave_alone(animal, state))))
    return found


def _clutch(animal: Animal) -> str:
    """One name for young of one day and the same known parents; empty for others."""
    if animal.hatched is None or (animal.sire is None and animal.dam is None):
        return ""
    return f"{animal.hatched} {animal.dam} {animal.sire}"


def identity_of(marks: Iterable[Identifier]) -> Identity:
    """How a check made now would be identified: by the surest code there is to read."""
    schemes = {mark.scheme for mark in marks}
    if "transponder" in schemes:
        return "confirmed"
    return "tub_tag" if "tag" in schemes else "unconfirmed"


def stage_on(animal: Animal, kind: Taxon, grams: Decimal | None, now: datetime) -> LifeStage:
    """The animal's stage today, as a call made now would be weighed."""
    return life_stage(kind, animal.hatched, now.date(), grams)


def _calls(animals: Iterable[UUID]) -> Mapping[UUID, list[StatedCall]]:
    """Every call on the animals, and on other records of the same snake, in log order, with what
    took it out of the count."""
    wanted = list(animals)
    of = {one: {one} for one in wanted}
    for animal, others in joined(wanted).items():
        for one in others:
            of.setdefault(one, set()).add(animal)
    found: defaultdict[UUID, list[StatedCall]] = defaultdict(list)
    rows = with_report(Call.objects.filter(animal__in=list(of)))
    for call in rows.select_related(*ENDS, "wait_ended").order_by("position"):
        for animal in of[call.animal_id]:
            found[animal].append(call)
    return found


def _counting(calls: Iterable[StatedCall]) -> tuple[Evidence, ...]:
    return tuple(evidence_of(call) for call in calls if call.counts)


def _condition(state: herd.LastNoted, calls: Iterable[StatedCall]) -> Condition:
    """``clear`` is still in shed: the eyes clear some days before the skin comes off (common
    practice, no source). Size alone keeps no animal away: no weight is known at which a
    species becomes too small."""
    fed_at = state.fed_at
    return Condition(
        fed_at=None if fed_at is None else _milliseconds(fed_at),
        in_shed=state.shed in IN_SHED,
        gravid=state.health == "gravid",
        ill=state.health == "ill",
        examined=tuple(_examined(call) for call in calls),
    )


def _examined(call: StatedCall) -> tuple[Method, int]:
    evidence = evidence_of(call)
    return evidence.method, evidence.at


def _milliseconds(when: datetime) -> int:
    return round(when.timestamp() * 1000)


def _leave_alone(animal: Animal, state: herd.LastNoted) -> Iterable[str]:
    if animal.ended:
        yield ENDED[animal.ended]
    if animal.hold_off:
        yield "The keeper asks everyone to leave this animal alone for now."
    if state.health == "injured":
        yield "It was last noted as injured."
    if state.health == "under_treatment":
        yield "It is under treatment."
