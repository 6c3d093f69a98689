"""The calls of one animal, weighed once under both sets of parameters.

Everything that asks more than one question of the same calls starts here: the standing
with its account, what a further call would do, how the answer moves with a parameter.
"""

from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final, NamedTuple, Self

from msgspec import Struct

from scalewitness.domain.facts import Label
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.findings import Reading
from scalewitness.domain.sexing.labels import View, known_elsewhere, settle
from scalewitness.domain.sexing.likelihood import Pair, combine, total
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.sessions import Weigher, heard
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import Taxon, as_learned
from scalewitness.domain.sexing.weighed import Session, WeighedCall

SUREST: Final = float(table("certainty.toml")["surest"]["value"])
"""No record makes a sex more certain than this short of certainty."""


class Standing(Struct, frozen=True):
    """What the record, taken whole, says: the label and what it rests on, without the
    account of each call. ``reasons`` are stable codes."""

    label: Label
    p_male: float
    p_male_pessimistic: float
    favoured: Sex | None
    decisive: bool
    reasons: tuple[str, ...] = ()


def share(p: float) -> str:
    """A probability as the log keeps it: six decimals, half to even, never 0 or 1.
    Raises ValueError outside [0, 1]."""
    if not 0 <= p <= 1:
        raise ValueError(f"{p} is not a probability")
    rounded = Decimal(repr(p)).quantize(_STEP, ROUND_HALF_EVEN)
    return str(min(max(rounded, _STEP), 1 - _STEP))


_STEP = Decimal("0.000001")


class SupposedCase(NamedTuple):
    """A further call, with what it would say under each set when that is not what its
    observation says (a class of depths stands for all its members)."""

    call: Evidence
    base: Reading | None = None
    pessimistic: Reading | None = None


class Side:
    """The calls in log order under one set of parameters."""

    def __init__(self, weigher: Weigher, weighed: Sequence[WeighedCall], prior_male: float) -> None:
        self.weigher = weigher
        self.weighed = weighed
        self.prior_male = prior_male
        self._first: dict[int, tuple[float, tuple[Session, ...]]] = {}

    def first(self, count: int) -> tuple[float, tuple[Session, ...]]:
        """The probability of male after the first ``count`` calls, and their sessions."""
        found = self._first.get(count)
        if found is None:
            sessions = self.weigher.sessions(self.weighed[:count])
            found = self._first[count] = self.p_male(sessions), sessions
        return found

    def own_view(self, count: int) -> float:
        """The same from the calls of those who knew no answer."""
        seen = [w for w in self.weighed[:count] if not w.knowing]
        if len(seen) == count:
            return self.first(count)[0]
        return self.p_male(self.weigher.sessions(seen))

    def without(self, left_out: WeighedCall) -> float:
        """The probability of male had that call not been made."""
        return self.p_male(self.weigher.sessions(w for w in self.weighed if w is not left_out))

    def p_male(self, sessions: Iterable[Session]) -> float:
        """The probability of male after these sessions, never quite certain."""
        p = combine(self.weigher.log_likelihoods(sessions), self.prior_male)
        return min(max(p, SUREST), 1 - SUREST)

    def pair(self) -> Pair:
        """Log P(every call | male), (… | female), up to one common constant."""
        _, sessions = self.first(len(self.weighed))
        return total(self.weigher.log_likelihoods(sessions))

    def plus(self, call: Evidence, found: Reading | None) -> Self:
        """With one more call at the end of the log."""
        weigher = self.weigher.apart()
        before = heard(call, [one.call for one in self.weighed])
        added = [*self.weighed, weigher.weigh(call, found, before)]
        return type(self)(weigher, added, self.prior_male)


class Case:
    """Both sides of one animal's calls, and the standing they come to."""

    def __init__(
        self,
        calls: Sequence[Evidence],
        base: Side,
        pessimistic: Side,
        *,
        known_elsewhere: bool = False,
    ) -> None:
        """``known_elsewhere``: another record bore the animal's transponder first."""
        self.calls = calls
        self.base = base
        self.pessimistic = pessimistic
        self.known_elsewhere = known_elsewhere
        self._views: dict[int, View] = {}

    def view(self, count: int) -> View:
        """The record of the first ``count`` calls."""
        found = self._views.get(count)
        if found is None:
            found = self._views[count] = self._view(count)
        return found

    def standing(self, policy: Policy) -> Standing:
        """The label of the whole record under a policy."""
        count = len(self.calls)
        view, outcome = self.view(count), settle(self.view, count, policy)
        if self.known_elsewhere:
            outcome = known_elsewhere(outcome)
        return Standing(
            outcome.label,
            view.p_male,
            view.p_male_pessimistic,
            outcome.favoured,
            outcome.decisive,
            outcome.reasons,
        )

    def plus(self, supposed: SupposedCase) -> "Case":
        """The same case with one more call at the end of the log."""
        call, base, pessimistic = supposed
        return Case(
            (*self.calls, call),
            self.base.plus(call, base),
            self.pessimistic.plus(call, pessimistic),
            known_elsewhere=self.known_elsewhere,
        )

    def _view(self, count: int) -> View:
        p_male, sessions = self.base.first(count)
        p_pessimistic, _ = self.pessimistic.first(count)
        newest = self.calls[count - 1].call if count else ""
        own = None
        if self.base.weigher.formula.own_view:
            own = self.base.own_view(count), self.pessimistic.own_view(count)
        seen = self.base.weighed[:count]
        atypical = tuple([w for w in seen if w.reading.code == "atypical"])
        return View(p_male, p_pessimistic, sessions, newest, atypical, own)


def case_of(
    evidence: Sequence[Evidence],
    taxon: Taxon,
    records: ExaminerRecords,
    parameters: Parameters,
    prior_male: float = 0.5,
    prior_pessimistic: float | None = None,
    *,
    known_elsewhere: bool = False,
) -> Case:
    """The calls weighed under both sets, from the same prior unless the pessimistic set has
    its own; ``known_elsewhere`` as :class:`Case`. Raises ValueError for
    a prior outside (0, 1) or a call given twice."""
    sceptical = prior_male if prior_pessimistic is None else prior_pessimistic
    check(evidence, prior_male)
    check((), sceptical)
    calls = sorted(evidence, key=lambda call: (call.position, call.call))

    def side(numbers: ParameterSet, prior: float) -> Side:
        weigher = Weigher(as_learned(taxon, numbers), records, parameters, numbers)
        return Side(weigher, weigher.weigh_all(calls), prior)

    return Case(
        calls,
        side(parameters.base, prior_male),
        side(parameters.pessimistic, sceptical),
        known_elsewhere=known_elsewhere,
    )


def check(evidence: Sequence[Evidence], prior_male: float) -> None:
    """Raises ValueError for a prior outside (0, 1) or a call given twice."""
    if not 0 < prior_male < 1:
        raise ValueError(f"{prior_male} is not a prior probability")
    if len({call.call for call in evidence}) != len(evidence):
        raise ValueError("a call is given twice")
