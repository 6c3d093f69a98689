"""Versions 1 and 2: what a call may merely repeat is mixed into each call by itself.

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

from collections.abc import Sequence

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.likelihood import Pair, flip, mix, total
from scalewitness.domain.sexing.weighed import SessionPart, WeighedCall


class PerCall:
    """Has no state."""

    own_view = False

    def seen(self, pair: Pair, call: Evidence, kappa: float) -> Pair:
        if kappa == 0:
            return pair
        as_if = pair[0] if call.anchored_to == "male" else pair[1]
        return mix(pair[0], as_if, kappa), mix(pair[1], as_if, kappa)

    def part(self, calls: Sequence[WeighedCall]) -> SessionPart:
        """Calls of one method in one session share one error: that of the surest call, with
        the best identification, so that a further agreeing call never costs anything."""
        first = calls[0]
        epsilon, doubt, alpha = first.epsilon, first.doubt, first.alpha
        if len(calls) > 1:
            epsilon = min(w.epsilon[0] for w in calls), min(w.epsilon[1] for w in calls)
            doubt = min(w.doubt for w in calls)
        seen = flip(total([w.pair for w in calls]), epsilon)
        alone = flip(flip(seen, (doubt, doubt)), alpha)
        return SessionPart(first, seen, alpha, doubt, alone=alone)

    def combined(self, parts: Sequence[SessionPart]) -> list[Pair]:
        by_method: dict[Method, list[SessionPart]] = {}
        for part in parts:
            by_method.setdefault(part.method, []).append(part)
        return [own[0].alone if len(own) == 1 else _method_pair(own) for own in by_method.values()]


def _method_pair(parts: Sequence[SessionPart]) -> Pair:
    """Everything one method brought: doubt about identity by kind, then the animal."""
    by_doubt: dict[float, list[Pair]] = {}
    for part in parts:
        by_doubt.setdefault(part.doubt, []).append(part.pair)
    kinds = [flip(total(pairs), (doubt, doubt)) for doubt, pairs in by_doubt.items()]
    return flip(total(kinds), parts[0].alpha)
