"""From single calls to the whole record: examiner, animal, identity.

P(all | S) = Π_g [(1−α_S)·U_g(S) + α_S·U_g(S̄)] over the methods g, where U_g is the product
over sessions of what they say with the session error ε in it:
A(S) = (1−ε_S)·L(S) + ε_S·L(S̄).

Two readings of the model that the plain formula leaves open:

- A misleading animal shows the other sex's picture *to the same fallible examiner*, so its
  term is A(S̄) and not L(S̄). With L(S̄) every further agreeing session would cost a factor
  1−ε, and two hundred agreeing probings would end up speaking for the other sex.
- The doubt about identity is shared by a method's sessions of the same kind (all where no
  code was read) and leaves the others alone; for one kind of session it is, to first
  order, added to α. At one half it cancels exactly.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from operator import attrgetter

from msgspec import Struct, field
from msgspec.structs import replace

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.findings import Reading, reading
from scalewitness.domain.sexing.likelihood import Pair, flip, log_ratio, mix, total
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import ExaminerRecords, session_error
from scalewitness.domain.sexing.taxa import Taxon

_HOUR = 3_600_000

Person = tuple[str, Role, bool]
"""Whose sessions these are; calls on what seems another animal are kept apart."""


class WeighedSession(Struct, frozen=True):
    """A call with all that decides its weight: ``pair`` after anchoring, ``epsilon`` and
    ``alpha`` as (if male, if female), ``doubt`` about identity."""

    call: Evidence
    method: Method
    reading: Reading
    pair: Pair
    kappa: float
    epsilon: Pair
    alpha: Pair
    doubt: float
    person: Person
    place: tuple[Person, int, int]


class SessionPart(Struct, frozen=True):
    """One session's share in one method, its error in it; ``alone`` with the animal's and
    the identity's in it too, were it the only one."""

    method: Method
    pair: Pair
    alpha: Pair
    doubt: float
    alone: Pair


class Session(Struct, frozen=True):
    """The informative calls of one examiner on one occasion, by log position;
    ``log_ratio`` is the natural log of what they say alone, male over female;
    ``position`` is where in the log it began."""

    calls: tuple[WeighedSession, ...]
    parts: tuple[SessionPart, ...]
    log_ratio: float
    position: int


class Weigher(Struct, frozen=True, eq=False):
    """One set of parameters applied to the calls of one animal."""

    taxon: Taxon
    records: ExaminerRecords
    parameters: Parameters
    numbers: ParameterSet
    _known: dict[tuple[str, ...], Session] = field(default_factory=dict)
    _own: dict[tuple[str, ...], tuple[Session, ...]] = field(default_factory=dict)

    def weigh(self, call: Evidence, found: Reading | None = None) -> WeighedSession:
        """What stands behind the weight of one call; ``found`` stands in for what it
        says by itself."""
        numbers, method = self.numbers, call.method
        if found is None:
            found = reading(call, self.taxon, numbers)
        kappa = anchoring(call, numbers)
        person = (call.examiner, call.role, call.identity == "mismatch")
        return WeighedSession(
            call=call,
            method=method,
            reading=found,
            pair=_anchored(found.pair, call, kappa),
            kappa=kappa,
            epsilon=session_error(call, numbers, self.records, self.parameters),
            alpha=_misleading(numbers, method),
            doubt=numbers.value(f"identity.{call.identity}"),
            person=person,
            place=(person, call.at, call.position),
        )

    def apart(self) -> "Weigher":
        """The same with its own memory: calls added to the one never meet the other's."""
        return replace(self, _known=dict(self._known), _own=dict(self._own))

    def sessions(self, weighed: Iterable[WeighedSession]) -> tuple[Session, ...]:
        """The informative calls by examiner and occasion, in order of their first call in
        the log. An occasion begins with a call and lasts ``session.hours``."""
        by_person: dict[Person, list[WeighedSession]] = {}
        for one in weighed:
            if one.reading.informative:
                by_person.setdefault(one.person, []).append(one)
        found = [session for own in by_person.values() for session in self._occasions(own)]
        return tuple(sorted(found, key=attrgetter("position")))

    def _occasions(self, own: Sequence[WeighedSession]) -> tuple[Session, ...]:
        """One person's sessions; the same calls are worked out once."""
        if len(own) == 1:
            return (self.session(own),)
        key = tuple([w.call.call for w in own])
        found = self._own.get(key)
        if found is None:
            width = self.numbers.value("session.hours") * _HOUR
            occasions = _occasions(sorted(own, key=attrgetter("place")), width)
            found = self._own[key] = tuple(map(self.session, occasions))
        return found

    def session(self, calls: Sequence[WeighedSession]) -> Session:
        """These calls as one session; the same calls are worked out once."""
        key = tuple([w.call.call for w in calls])
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = _session(calls)
        return found


@lru_cache(maxsize=512)
def _misleading(numbers: ParameterSet, method: Method) -> Pair:
    """α: how often a male, and how often a female, shows the other sex's picture."""
    male, female = f"mislead.{method}.male", f"mislead.{method}.female"
    return numbers.get(male, 0.0), numbers.get(female, 0.0)


def anchoring(call: Evidence, numbers: ParameterSet) -> float:
    """κ: how much of an informed call merely repeats what its examiner knew."""
    if call.blind or call.anchored_to is None:
        return 0.0
    return _repeated(numbers, call.method)


@lru_cache(maxsize=512)
def _repeated(numbers: ParameterSet, method: Method) -> float:
    """κ of a call by one who knew."""
    blind = numbers.value("anchoring.discordant_blind")
    knowing = numbers.value("anchoring.discordant_knowing")
    return (1 - knowing / blind) * numbers.get(f"anchoring_share.{method}", 1.0)


def log_likelihoods(sessions: Iterable[Session]) -> list[Pair]:
    """One pair per method: log P(everything that method brought | male), (… | female)."""
    by_method: dict[Method, list[SessionPart]] = {}
    for session in sessions:
        for part in session.parts:
            by_method.setdefault(part.method, []).append(part)
    return [
        parts[0].alone if len(parts) == 1 else _method_pair(parts) for parts in by_method.values()
    ]


def _anchored(pair: Pair, call: Evidence, kappa: float) -> Pair:
    if kappa == 0:
        return pair
    as_if = pair[0] if call.anchored_to == "male" else pair[1]
    return mix(pair[0], as_if, kappa), mix(pair[1], as_if, kappa)


def _occasions(calls: Iterable[WeighedSession], width: float) -> Iterable[list[WeighedSession]]:
    """Calls of one person, sorted by time, cut where an occasion is over."""
    occasion: list[WeighedSession] = []
    for weighed in calls:
        if occasion and weighed.call.at - occasion[0].call.at > width:
            yield occasion
            occasion = []
        occasion.append(weighed)
    yield occasion


def _session(calls: Sequence[WeighedSession]) -> Session:
    by_method: dict[Method, list[WeighedSession]] = {}
    for weighed in calls:
        by_method.setdefault(weighed.method, []).append(weighed)
    parts = tuple(_part(method, own) for method, own in by_method.items())
    alone = log_ratio(total([part.alone for part in parts]))
    ordered = tuple(sorted(calls, key=lambda w: w.call.position))
    return Session(ordered, parts, alone, ordered[0].call.position)


def _part(method: Method, calls: Sequence[WeighedSession]) -> SessionPart:
    """Calls of one method in one session share one error: that of the surest call, with
    the best identification, so that a further agreeing call never costs anything."""
    epsilon, doubt, alpha = calls[0].epsilon, calls[0].doubt, calls[0].alpha
    if len(calls) > 1:
        epsilon = min(w.epsilon[0] for w in calls), min(w.epsilon[1] for w in calls)
        doubt = min(w.doubt for w in calls)
    seen = flip(total([w.pair for w in calls]), epsilon)
    return SessionPart(method, seen, alpha, doubt, flip(flip(seen, (doubt, doubt)), alpha))


def _method_pair(parts: Sequence[SessionPart]) -> Pair:
    """Everything one method brought: doubt about identity by kind, then the animal."""
    by_doubt: dict[float, list[Pair]] = {}
    for part in parts:
        by_doubt.setdefault(part.doubt, []).append(part.pair)
    kinds = [flip(total(pairs), (doubt, doubt)) for doubt, pairs in by_doubt.items()]
    return flip(total(kinds), parts[0].alpha)
