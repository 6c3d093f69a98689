"""Whether what a standing states of a call is what the record knew when it took that in, as far as
the entries about the animal tell.

``identity`` and ``anchored_to`` follow from them, and how old it was at least. Of ``blind``,
``interested``, ``footing`` and ``waits`` they tell what cannot have been; whether somebody had an
interest, or a footing, rests on entries about other things. ``one_with`` rests on none.
"""

from collections.abc import Iterator, Set
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple, get_args
from uuid import UUID

from scalewitness.domain import facts
from scalewitness.domain.consequences import sex_expected, verified_sex
from scalewitness.domain.identifiers import plain_code
from scalewitness.domain.observations import Hearsay, LifeStage, Sex, method_of
from scalewitness.domain.sexing.evidence import as_sent, other
from scalewitness.domain.sexing.parameters import VERSIONS, Parameters
from scalewitness.domain.sexing.recomputing import OrderedFact, Recomputing
from scalewitness.domain.sexing.so_far import AnimalSoFar, identity_by
from scalewitness.domain.sexing.stated_linkage import Origin, favoured_by, start_from
from scalewitness.domain.sexing.taxa import life_stage, taxon

CODES = frozenset({"identifier_assigned", "identifier_withdrawn"})
"""Kinds that bear on it besides those that a standing may follow from."""
_STAGES = get_args(LifeStage)


class _Then(NamedTuple):
    """A call, and the animal as it was when that came in. ``spoke``: whether its sender had
    registered or checked the animal by then."""

    fact: OrderedFact
    codes: Set[tuple[str, str]]
    hatched: date | None
    origin: Origin
    linkage: facts.LinkageStated | None
    label: str
    gone: Set[str]
    waiting: Set[str]
    admitted: Set[str]
    spoke: bool


@dataclass(slots=True)
class _Animal:
    """``joined``: another record was said to be of the same snake, so that its calls count too."""

    codes: set[tuple[str, str]] = field(default_factory=set)
    spoke: set[UUID | None] = field(default_factory=set)
    hatched: date | None = None
    joined: bool = False


class AsAccepted:
    """Told of entries in log order, each before the ``recomputing`` that goes along."""

    def __init__(self, recomputing: Recomputing) -> None:
        self._recomputing = recomputing
        self._animals: dict[UUID, _Animal] = {}
        self._calls: dict[str, _Then] = {}

    def follow(self, fact: OrderedFact) -> None:
        """The next entry, but for a standing."""
        animal, body = self._animals.setdefault(fact.about, _Animal()), fact.body
        match body:
            case facts.IdentifierAssigned():
                animal.codes.add((body.scheme, plain_code(body.scheme, body.code)))
            case facts.IdentifierWithdrawn():
                animal.codes.discard((body.scheme, plain_code(body.scheme, body.code)))
            case facts.Particulars():
                animal.hatched = date.fromisoformat(body.hatched) if body.hatched else None
            case facts.JoiningProposed() | facts.JoiningAnswered():
                animal.joined = True
            case facts.CallMade():
                self._calls[fact.id] = self._then(fact, animal)
        if isinstance(body, facts.AnimalRegistered | facts.CallMade | facts.CallRefiled):
            animal.spoke.add(fact.by)

    def _then(self, fact: OrderedFact, animal: _Animal) -> _Then:
        past = self._recomputing.past(fact.about)
        return _Then(
            fact,
            frozenset(animal.codes),
            animal.hatched,
            past.origin,
            past.linkage,
            past.before.label,
            frozenset(past.gone),
            frozenset(past.waiting),
            frozenset(past.known),
            fact.by in animal.spoke,
        )

    def misstated(self, animal: UUID, stated: facts.StandingChanged) -> Iterator[str]:
        """What a standing, whose calls were admitted just now, states of them otherwise than the
        log has it, as clauses. Raises UnknownVersion."""
        for known in stated.admitted:
            then = self._calls.get(known.call)
            if then is None:
                continue  # filed anew: by what was known of it where it was made
            for name, value, why in _amiss(known, then):
                yield _clause(then, name, value, why)
            if not self._animals[animal].joined:
                yield from self._misanchored(animal, known, then, stated.parameters)

    def _misanchored(
        self, animal: UUID, known: facts.Circumstance, then: _Then, version: str
    ) -> Iterator[str]:
        due = then.fact.body.told
        if due is None and not known.blind and not _is_reported(then):
            past = self._recomputing.past(animal)
            numbers = self._recomputing.rules.measured_by(version, set()).numbers
            due = _expected(then, past, numbers)
        if known.anchored_to != due:
            yield _clause(then, "anchored_to", known.anchored_to, f"it was {due}")


def _clause(then: _Then, name: str, value: object, why: str) -> str:
    return f"{name} of the call at {then.fact.position} is stated as {value}, and {why}"


def _amiss(known: facts.Circumstance, then: _Then) -> Iterator[tuple[str, object, str]]:
    identity = identity_by(then.fact.body.identified, {code for _, code in then.codes})
    # Before footings were asked, a tag that was read could be taken for a code in the animal.
    was = {identity, "confirmed"} if known.footing is None and identity == "tub_tag" else {identity}
    if known.identity not in was:
        yield "identity", known.identity, f"by the codes that it bore it is {identity}"
    if not _may_be(known.stage, then):
        yield "stage", known.stage, "by the day that it hatched it was another"
    if known.blind and (why := _not_blind(known, then)):
        yield "blind", True, why
    may_wait = known.footing == "none" and _is_contrary(then)
    if known.waits and not may_wait:
        yield "waits", True, "it is not contrary to a verified sex, or its sender has a footing"
    if may_wait and not known.waits and not _answers(known, then):
        yield "waits", False, "it is somebody's word of another's, contrary to a verified sex"


def _may_be(stage: str, then: _Then) -> bool:
    """Weights make it older, never younger; an older release may have had other limits."""
    if then.hatched is None:
        return True
    species, on = then.origin.species, then.fact.at.date()
    by_age = {
        life_stage(taxon(species, version), then.hatched, on, grams=None) for version in VERSIONS
    }
    if by_age == {"unknown"} or stage == "unknown":
        return by_age == {stage}
    return min(map(_STAGES.index, by_age)) <= _STAGES.index(stage)


def _not_blind(known: facts.Circumstance, then: _Then) -> str:
    """Why it cannot have been; empty: it can."""
    body: facts.CallMade = then.fact.body
    reasons = (
        (_is_reported(then), "it is of somebody else"),
        (body.told is not None, "its examiner says what they were told"),
        (isinstance(body.observed, Hearsay), "it is what somebody said"),
        (known.interested, "its sender has an interest"),
        (body.visit is None, "it is under no visit"),
        (then.spoke, "its sender had registered or checked the animal before"),
    )
    return next((why for holds, why in reasons if holds), "")


def _is_reported(then: _Then) -> bool:
    return then.fact.body.reported is not None


def _is_contrary(then: _Then) -> bool:
    held = verified_sex(then.label)
    return held is not None and then.fact.body.conclusion == other(held)


def _answers(known: facts.Circumstance, then: _Then) -> bool:
    method = method_of(then.fact.body.observed)
    word = as_sent(method, reported=_is_reported(then), interested=known.interested)
    return word == "own"


def _expected(then: _Then, past: AnimalSoFar, numbers: Parameters) -> Sex | None:
    """What somebody who could read the record then expected, as `intake.known.Subject` has it."""
    latest_first = (
        body.conclusion
        for call, (body, _, _, position) in sorted(past.made.items(), key=lambda one: -one[1][3])
        if position < then.fact.position and _counted(call, then, past)
    )
    named = sex_expected(then.label, latest_first)
    return named or favoured_by(start_from(then.linkage, then.origin, numbers).male)


def _counted(call: str, then: _Then, past: AnimalSoFar) -> bool:
    """Whether an earlier call did when that came in."""
    if call not in past.known or call in then.gone:
        return False
    return not (call in then.waiting if call in then.admitted else past.known[call].waits)
