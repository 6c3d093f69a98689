"""The standing of an animal: the latest one logged, any past one, and its explanation."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.calls.models import AdoptedPolicy, Call, Standing
from scalewitness.calls.queries.evidence import counting_calls, counting_calls_at, evidence_of
from scalewitness.calls.queries.records import records_in_force
from scalewitness.domain.facts import PolicyAdopted
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.parameters import CURRENT, load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, Policy, adopted
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.sensitivity import Sensitivity, sensitivity
from scalewitness.domain.sexing.standing import Assessment, assess
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.queries.entries import entries_about, leaf_of


def latest_standing(animal: UUID, at: int | None = None) -> Standing | None:
    """The standing in force at log position ``at`` (now when None); None: no call yet."""
    standings = Standing.objects.filter(animal=animal)
    if at is not None:
        standings = standings.filter(position__lte=at)
    return standings.order_by("-position").first()


def latest_standings(animals: Iterable[UUID]) -> dict[UUID, Standing]:
    rows = Standing.objects.filter(animal__in=list(animals)).order_by("animal", "-position")
    return {row.animal_id: row for row in rows.distinct("animal")}


def label_of(standing: Standing | None) -> str:
    return standing.label if standing else "unsexed"


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What evidence is measured with: the policy for labels, the parameters' version and
    the examiners' records."""

    policy: Policy = DEFAULT_POLICY
    parameters: str = CURRENT
    records: ExaminerRecords = EMPTY


def yardstick(at: int | None = None, parameters: str | None = None) -> Yardstick:
    """The one in force at log position ``at``, now when None: the latest adopted.
    ``parameters``: those a standing names, which an earlier release may have stated."""
    versions = AdoptedPolicy.objects.order_by("-position")
    if at is not None:
        versions = versions.filter(position__lte=at)
    latest = versions.first()
    rule = adopted_yardstick(latest) if latest else Yardstick()
    version = parameters or rule.parameters
    return replace(rule, parameters=version, records=records_in_force(version, at))


def adopted_yardstick(adoption: "AdoptedPolicy | PolicyAdopted") -> Yardstick:
    """From the row or from the fact alone."""
    return Yardstick(adopted(adoption.version, adoption.thresholds), adoption.parameters)


def assess_animal(
    species: str, evidence: Sequence[Evidence], by: Yardstick | None = None
) -> Assessment:
    """The one place that brings policy, parameters and examiner records together."""
    by = by or yardstick()
    parameters = load_parameters(by.parameters)
    return assess(evidence, taxon(species, by.parameters), by.records, by.policy, parameters)


def sensitivity_at(animal: Animal, position: int | None = None) -> Sensitivity:
    """How far the animal's answer moves when the model's numbers do: now, or just after the
    fact at ``position``. Weighs the evidence some twenty times over: for one animal at a
    time, not for lists."""
    calls = (
        counting_calls(animal.pk) if position is None else counting_calls_at(animal.pk, position)
    )
    species = animal.species if position is None else _species_at(animal, position)
    by = yardstick_of(animal, position)
    evidence = [evidence_of(call) for call in calls]
    kind, parameters = taxon(species, by.parameters), load_parameters(by.parameters)
    return sensitivity(evidence, kind, by.records, by.policy, parameters)


def assessment_of(animal: Animal, by: Yardstick | None = None) -> tuple[Assessment, list[Evidence]]:
    """The animal's assessment from the calls that count now, with the evidence used; by what
    is in force now unless said otherwise."""
    evidence = [evidence_of(call) for call in counting_calls(animal.pk)]
    return assess_animal(animal.species, evidence, by), evidence


def assessment_at(animal: Animal, position: int) -> tuple[Assessment, list[Evidence], str]:
    """As :func:`assessment_of`, just after the fact at ``position``, by what the standing
    then named; with the species the animal was then said to be."""
    evidence = [evidence_of(call) for call in counting_calls_at(animal.pk, position)]
    species = _species_at(animal, position)
    return assess_animal(species, evidence, yardstick_of(animal, position)), evidence, species


def yardstick_of(animal: Animal, position: int | None = None) -> Yardstick:
    """As :func:`yardstick`, with the parameters that the standing logged then was worked out
    with: what is shown explains what was stated, whatever a later release brought."""
    standing = latest_standing(animal.pk, position)
    return yardstick(position, standing.parameters if standing else None)


def _species_at(animal: Animal, position: int) -> str:
    kinds = ("animal_registered", "particulars_corrected")
    said = [
        entry
        for entry in entries_about(animal.pk)
        if entry.kind in kinds and entry.position <= position
    ]
    return str(leaf_of(said[-1]).body["species"]) if said else animal.species


def all_calls(animal: UUID) -> list[Call]:
    """Every call on the animal in log order, withdrawn and set-aside ones included."""
    return list(
        Call.objects.filter(animal=animal)
        .select_related("withdrawal", "set_aside")
        .prefetch_related("objections")
        .order_by("position")
    )


def call_of(call: UUID) -> Call | None:
    return Call.objects.select_related("animal__collection").filter(pk=call).first()


def calls_on_visit(visit: UUID, by: UUID) -> list[Call]:
    """The calls someone sent on a visit, in log order."""
    return list(Call.objects.filter(visit=visit, by=by).order_by("position"))


def known_before(animal: UUID) -> str | None:
    """The sex someone who can see the record would expect, for anchoring.

    The sex the standing names, else that of the latest conclusive call still counting.
    """
    standing = latest_standing(animal)
    word = standing.label.rpartition(" ")[2] if standing else ""
    if word in {"male", "female"}:
        return word
    last = (
        Call.objects.filter(animal=animal, withdrawal=None, set_aside=None)
        .exclude(conclusion="undetermined")
        .order_by("-position")
        .first()
    )
    return last.conclusion if last else None
