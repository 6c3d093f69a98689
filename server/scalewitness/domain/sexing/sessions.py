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
from itertools import groupby

from msgspec import Struct

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.findings import Reading, reading
from scalewitness.domain.sexing.likelihood import (
    NOTHING,
    Pair,
    flip,
    log_ratio,
    mix,
    total,
)
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.records import ExaminerRecords, session_error
from scalewitness.domain.sexing.taxa import Taxon

_HOUR = 3_600_000


class Weighed(Struct, frozen=True):
    """A call with all that decides its weight: ``pair`` after anchoring, ``epsilon`` and
    ``alpha`` as (if male, if female), ``doubt`` about identity."""

    call: Evidence
    reading: Reading
    pair: Pair
    kappa: float
    epsilon: Pair
    alpha: Pair
    doubt: float

    @property
    def method(self) -> Method:
        return self.call.method


Session = tuple[Weighed, ...]
"""The informative calls of one examiner on one occasion, by log position."""


class Weigher(Struct, frozen=True, eq=False):
    """One set of parameters applied to the calls of one animal."""

    taxon: Taxon
    records: ExaminerRecords
    parameters: Parameters
    numbers: ParameterSet

    def weigh(self, call: Evidence) -> Weighed:
        """What stands behind the weight of one call."""
        numbers, method = self.numbers, call.method
        found = reading(call, self.taxon, numbers)
        kappa = anchoring(call, numbers)
        return Weighed(
            call=call,
            reading=found,
            pair=_anchored(found.pair, call, kappa),
            kappa=kappa,
            epsilon=session_error(call, numbers, self.records, self.parameters),
            alpha=(
                numbers.get(f"mislead.{method}.male", 0.0),
                numbers.get(f"mislead.{method}.female", 0.0),
            ),
            doubt=numbers.value(f"identity.{call.identity}"),
        )

    def sessions(self, weighed: Iterable[Weighed]) -> tuple[Session, ...]:
        """The informative calls by examiner and occasion, in order of their first call in
        the log. An occasion begins with a call and lasts ``session.hours``."""
        width = self.numbers.value("session.hours") * _HOUR
        calls = sorted((w for w in weighed if w.reading.informative), key=_by_person_and_time)
        found = []
        for _, own in groupby(calls, key=_person):
            found.extend(_occasions(list(own), width))
        return tuple(sorted(found, key=lambda session: session[0].call.position))


def anchoring(call: Evidence, numbers: ParameterSet) -> float:
    """κ: how much of an informed call merely repeats what its examiner knew."""
    if call.blind or call.anchored_to is None:
        return 0.0
    blind = numbers.value("anchoring.discordant_blind")
    knowing = numbers.value("anchoring.discordant_knowing")
    return (1 - knowing / blind) * numbers.get(f"anchoring_share.{call.method}", 1.0)


def log_likelihoods(sessions: Iterable[Session]) -> list[Pair]:
    """One pair per method: log P(everything that method brought | male), (… | female)."""
    parts: dict[Method, list[_Part]] = {}
    for session in sessions:
        for method, calls in _by_method(session).items():
            parts.setdefault(method, []).append(_part(calls))
    return [_method_pair(of_method) for of_method in parts.values()]


def session_log_ratio(session: Session) -> float:
    """Natural log of what one session says by itself, male over female."""
    return log_ratio(total(log_likelihoods((session,))))


class _Part(Struct, frozen=True):
    """One session's share in one method."""

    pair: Pair
    alpha: Pair
    doubt: float


def _anchored(pair: Pair, call: Evidence, kappa: float) -> Pair:
    if kappa == 0:
        return pair
    as_if = pair[0] if call.anchored_to == "male" else pair[1]
    return mix(pair[0], as_if, kappa), mix(pair[1], as_if, kappa)


def _by_method(session: Session) -> dict[Method, list[Weighed]]:
    found: dict[Method, list[Weighed]] = {}
    for weighed in session:
        found.setdefault(weighed.method, []).append(weighed)
    return found


def _part(calls: Sequence[Weighed]) -> _Part:
    """Calls of one method in one session share one error: that of the surest call, with
    the best identification, so that a further agreeing call never costs anything."""
    epsilon = min(w.epsilon[0] for w in calls), min(w.epsilon[1] for w in calls)
    seen = flip(total(w.pair for w in calls), epsilon)
    return _Part(seen, calls[0].alpha, min(w.doubt for w in calls))


def _method_pair(parts: Sequence[_Part]) -> Pair:
    by_doubt: dict[float, list[Pair]] = {}
    for part in parts:
        by_doubt.setdefault(part.doubt, []).append(part.pair)
    kinds = (flip(total(pairs), (doubt, doubt)) for doubt, pairs in by_doubt.items())
    return flip(total(kinds), parts[0].alpha) if parts else NOTHING


def _occasions(calls: Sequence[Weighed], width: float) -> list[Session]:
    found: list[list[Weighed]] = []
    for weighed in calls:
        if found and weighed.call.at - found[-1][0].call.at <= width:
            found[-1].append(weighed)
        else:
            found.append([weighed])
    return [tuple(sorted(own, key=lambda w: w.call.position)) for own in found]


def _person(weighed: Weighed) -> tuple[str, Role, bool]:
    call = weighed.call
    return call.examiner, call.role, call.identity == "mismatch"


def _by_person_and_time(weighed: Weighed) -> tuple[tuple[str, Role, bool], int, int]:
    return _person(weighed), weighed.call.at, weighed.call.position
