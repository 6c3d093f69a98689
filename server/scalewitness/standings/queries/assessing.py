"""Working out an animal's standing, as of now or of any past position, and explaining it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

import msgspec

from scalewitness.animals.models import Animal
from scalewitness.domain.facts import (
    AnimalRegistered,
    Particulars,
    ParticularsCorrected,
)
from scalewitness.domain.sexing.case import Case
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.gauge import Gauge, Numbers, case_by
from scalewitness.domain.sexing.gauge import settled_by as settled_with
from scalewitness.domain.sexing.kept import KEPT, Before, NextStanding
from scalewitness.domain.sexing.parameters import CURRENT, load_parameters, released
from scalewitness.domain.sexing.policy import adopted
from scalewitness.domain.sexing.sensitivity import Sensitivity, sensitivity
from scalewitness.domain.sexing.standing import Assessment, account
from scalewitness.domain.sexing.stated_linkage import EVEN, Origin, Start, origin_stated
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.ledger.queries.entries import entries_about, leaf_of
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.in_force import AdoptedRule, in_force
from scalewitness.standings.queries.linkage import origin_of
from scalewitness.standings.queries.logged import stated_as
from scalewitness.standings.queries.numbers import numbers_named
from scalewitness.standings.queries.records import records_up_to


@dataclass(frozen=True, slots=True)
class Yardstick(Gauge):
    """A gauge that can be read again with other numbers."""

    newest: UUID | None = None
    """Of the examiners' records the newest, which says what all of them were."""

    def by(self, numbers: Numbers) -> "Yardstick":
        """The same with other numbers."""
        records = records_up_to(self.newest, numbers.parameters)
        return replace(self, numbers=numbers.parameters, kept=numbers.kept, records=records)

    def as_stated(self, standing: Standing | None) -> "Yardstick":
        """The same with the numbers that a standing names: what is shown explains what was stated,
        whatever a later release brought."""
        return self.by(numbers_named(standing.parameters)) if standing else self


def yardstick(at: int | None = None) -> Yardstick:
    """The one in force at log position ``at``, now when None: the latest adopted. Where none
    was, the version that the record is kept by goes on: a release brings a new one to a new
    record, and to an old one when it is adopted. What the record learned on it, and adopted, is
    in force with it."""
    found = in_force(at)
    rule = found.policy and adopted_yardstick(found.policy)
    rule = rule or Yardstick(numbers=load_parameters(released(found.stated_by or CURRENT)))
    return replace(rule, newest=found.record).by(found.numbers_on(rule.parameters))


def adopted_yardstick(adoption: AdoptedRule) -> Yardstick:
    """From the row."""
    rule = adopted(adoption.version, adoption.thresholds)
    return Yardstick(rule, load_parameters(adoption.parameters))


def settled_by(
    by: Yardstick,
    before: Before,
    calls: Callable[[Yardstick], Case],
) -> NextStanding:
    """The standing that follows the one ``before``. ``calls``: those that count, weighed by a
    yardstick."""
    return settled_with(by, before, calls, lambda version: by.by(numbers_named(version)))


def assess_animal(
    species: str,
    evidence: Sequence[Evidence],
    by: Yardstick | None = None,
    start: Start = EVEN,
    stated: Standing | None = None,
) -> Assessment:
    """The standing with the account of every call, for showing it. ``stated``: as it was logged,
    which says whether older numbers kept a sex verified, and whether its transponder is known
    elsewhere."""
    by, before = by or yardstick(), _kept_before(stated)
    known_elsewhere = stated is not None and stated.known_elsewhere
    case = case_by(by, species, evidence, start, known_elsewhere=known_elsewhere)
    found = account(case, by.policy)
    used = sorted((*found.used, *start.used), key=lambda number: (number.of, number.name))
    found = msgspec.structs.replace(found, used=tuple(used))
    return found if before is None else kept_after(before, found, by, species, evidence, start)


def kept_after(
    before: Before,
    found: Assessment,
    by: Yardstick,
    species: str,
    evidence: Sequence[Evidence],
    start: Start,
) -> Assessment:
    """The account with what older numbers keep, where they do, after that standing."""
    settled = settled_by(by, before, lambda one: case_by(one, species, evidence, start))
    if not settled.verified_with:
        return found
    names = ("label", "favoured", "decisive", "reasons")
    return msgspec.structs.replace(
        found,
        **{name: getattr(settled.standing, name) for name in names},
        used=(*found.used, msgspec.structs.replace(KEPT, value=by.kept)),
    )


def sensitivity_by(
    by: Yardstick,
    kind: Taxon,
    evidence: Sequence[Evidence],
    start: Start,
    *,
    known_elsewhere: bool = False,
) -> Sensitivity:
    """How far the answer moves when the model's numbers do; ``known_elsewhere`` as `case_by`.
    Weighs the evidence some twenty times over: for one animal at a time, not for lists."""
    priors = start.male, start.range, start.pessimistic
    numbers = by.records, by.policy, by.numbers
    return sensitivity(evidence, kind, *numbers, *priors, known_elsewhere=known_elsewhere)


def _kept_before(stated: Standing | None) -> Before | None:
    """What a standing followed that was stated verified by older numbers; None for any other."""
    if stated is None or not stated.verified_with:
        return None
    return stated_as(stated)


def origin_at(animal: Animal, position: int) -> Origin:
    """What the particulars said just after the fact at ``position``."""
    stated = [
        entry
        for entry in entries_about(animal.pk)
        if entry.kind in _PARTICULARS and entry.position <= position
    ]
    if not stated:
        return origin_of(animal)
    last = stated[-1]
    body = msgspec.convert(leaf_of(last).body, _PARTICULARS[last.kind])
    return origin_stated(body)


_PARTICULARS: Mapping[str, type[Particulars]] = {
    "animal_registered": AnimalRegistered,
    "particulars_corrected": ParticularsCorrected,
}
