"""Version 3: an error that several calls share enters once, however many calls share it.

What can go wrong, from the widest to the narrowest; each is a chance of its own, drawn once
for everything that hangs below it:

    the record of one animal
    ├─ η    those who knew an answer followed it         (all knowing calls)
    ├─ φ    what was reported is false                   (all unconfirmed reports of a kind)
    └─ by method
       ├─ α  this animal shows the other sex's picture   (all its checks by this method)
       ├─ σ  this species is not as we hold              (all its probings; all its DNA tests)
       └─ by how the animal was identified
          ├─ d  another animal was examined              (all checks so identified)
          └─ by examiner
             ├─ ε  misreads this animal, each time       (all their checks by this method)
             └─ by occasion
                ├─ κ  repeats the answer that was known; ω  though said not to have known it
                ├─ δ  slips this once
                └─ what was seen: the mean of what the occasion's calls show

In formulas, for sex S and the other sex S̄, logarithms aside:

    A_s(S) = (1−δ)·L_s(S) + δ·L_s(S̄)                     one occasion
    E_e(S) = (1−ε)·Π_s A_s(S) + ε·Π_s A_s(S̄)             one examiner
    K_d(S) = (1−d)·Π_e E_e(S) + d·Π_e E_e(S̄)             identified alike
    T_g(S) = flipped by σ/2, then by α_S, of Π_d K_d(S)    one method
    P(S)   = Σ over what is left out of {knowing, reported} of
             Π shares · Π_g T_g(S of the rest) · Π of what those left out would say of any animal

A knowing call that was not merely following enters as (1−κ)·A(S) + κ·A(c), c the answer that
was known; one that was, as A(c), whatever the animal is. A call said to be blind enters as
(1−ω)·A(S) + ω·A(c), c what somebody else had concluded last before it in the log.

So all knowing calls together weigh at most 1/η, one examiner's checks at most (1−ε)/ε, reports at
most 1/φ. A species whose range is wrong says nothing, which halves: no probing weighs more than
(2−σ)/σ.

An examiner's error for each way of identifying is taken apart, which is exact where they
identify an animal always alike.
"""

from collections.abc import Callable, Hashable, Iterable, Sequence
from itertools import product
from math import exp, fsum, log, log1p
from operator import attrgetter
from typing import Final

from scalewitness.domain.sexing.evidence import Evidence, confirmed_doubt, shared_doubt
from scalewitness.domain.sexing.likelihood import Pair, flip, mix, total
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.weighed import SessionPart, WeighedCall

FOLLOWED: Final = "followed"


class SharedErrors:
    """With the numbers of one set."""

    own_view = True

    def __init__(self, numbers: ParameterSet) -> None:
        self._numbers = numbers
        self._lasting = numbers.value("error.lasting_share")
        self._chance = {
            name: numbers.value(name)
            for name in (FOLLOWED, "report.false.interested", "report.false.disinterested")
        }

    def seen(self, pair: Pair, call: Evidence, kappa: float) -> Pair:
        """As it is: what was known enters where it is shared."""
        return pair

    def part(self, calls: Sequence[WeighedCall]) -> SessionPart:
        """The mean of what the occasion's calls say, with the knowledge they began with and
        the surest call's errors: the same again changes nothing."""
        first = min(calls, key=lambda w: w.call.position)
        epsilon = min(w.epsilon[0] for w in calls), min(w.epsilon[1] for w in calls)
        doubt = min(w.doubt for w in calls)
        mean = _mean([w.pair for w in calls])
        slip, mistaken = 1 - self._lasting, self._mistaken(first.call)
        once = slip * epsilon[0] + mistaken, slip * epsilon[1] + mistaken
        lasting = self._lasting * epsilon[0], self._lasting * epsilon[1]
        species = self._numbers.get(first.species, 0.0)
        return SessionPart(first, flip(mean, once), first.alpha, doubt, lasting, species)

    def _mistaken(self, call: Evidence) -> float:
        """What is left of a report's error once whoever is quoted has confirmed it."""
        return self._numbers.get(confirmed_doubt(call, self._numbers), 0.0)

    def combined(self, parts: Sequence[SessionPart]) -> list[Pair]:
        """One pair for each method, or a single one where something may have to be left out."""
        doubted = sorted({group for part in parts for group in _groups(part)})
        if not doubted:
            return _by_method(parts)
        terms = [
            self._without(parts, {g for g, out in zip(doubted, left, strict=True) if out}, doubted)
            for left in product((False, True), repeat=len(doubted))
        ]
        return [(_sum([male for male, _ in terms]), _sum([female for _, female in terms]))]

    def _without(
        self, parts: Sequence[SessionPart], left_out: set[str], doubted: Sequence[str]
    ) -> Pair:
        """The chance that just these groups say what they say whatever the animal is, and of
        everything that was seen then."""
        chances = [
            log(self._chance[g]) if g in left_out else log1p(-self._chance[g]) for g in doubted
        ]
        kept = [part for part in parts if left_out.isdisjoint(_groups(part))]
        gone = [part for part in parts if not left_out.isdisjoint(_groups(part))]
        same = fsum(chances) + fsum(_whatever(part, left_out) for part in gone)
        male, female = total(_by_method(kept)) if kept else (0.0, 0.0)
        return male + same, female + same


def _groups(part: SessionPart) -> tuple[str, ...]:
    """Under which shared doubts this part stands."""
    knowing = FOLLOWED if part.first.knowing else ""
    return tuple(filter(None, (knowing, shared_doubt(part.first.call))))


def _whatever(part: SessionPart, left_out: set[str]) -> float:
    """Log chance of what this part says where the animal has no say in it: as if it were what
    was known or, of a report, what it concludes."""
    call = part.first.call
    followed = FOLLOWED in left_out and part.first.knowing
    as_if = call.anchored_to if followed else call.conclusion
    return part.pair[0] if as_if == "male" else part.pair[1]


# --- what is left, taken as seen ------------------------------------------------------------


def _by_method(parts: Sequence[SessionPart]) -> list[Pair]:
    return [_method(own) for own in _gathered(parts, attrgetter("method"))]


def _method(parts: Sequence[SessionPart]) -> Pair:
    kinds = [_identified(own) for own in _gathered(parts, attrgetter("doubt"))]
    species = max(part.species for part in parts) / 2
    return flip(flip(total(kinds), (species, species)), parts[0].alpha)


def _identified(parts: Sequence[SessionPart]) -> Pair:
    examiners = [_examiner(own) for own in _gathered(parts, lambda part: part.first.person)]
    doubt = parts[0].doubt
    return flip(total(examiners), (doubt, doubt))


def _examiner(parts: Sequence[SessionPart]) -> Pair:
    epsilon = min(p.epsilon[0] for p in parts), min(p.epsilon[1] for p in parts)
    return flip(total([_shaped(part) for part in parts]), epsilon)


def _shaped(part: SessionPart) -> Pair:
    """With what was known, or heard, in it, where it was not merely followed."""
    first = part.first
    repeated = first.kappa or first.unblind
    if repeated == 0:
        return part.pair
    male, female = part.pair
    as_if = male if (first.call.anchored_to or first.heard) == "male" else female
    return mix(male, as_if, repeated), mix(female, as_if, repeated)


def _gathered(
    parts: Sequence[SessionPart], by: Callable[[SessionPart], Hashable]
) -> Iterable[list[SessionPart]]:
    if len(parts) == 1:
        return (list(parts),)
    found: dict[Hashable, list[SessionPart]] = {}
    for part in parts:
        found.setdefault(by(part), []).append(part)
    return found.values()


def _mean(pairs: Sequence[Pair]) -> Pair:
    if len(pairs) == 1:
        return pairs[0]
    male, female = total(pairs)
    return male / len(pairs), female / len(pairs)


def _sum(logs: Sequence[float]) -> float:
    """log Σ exp, without leaving logarithms."""
    top = max(logs)
    return top + log(fsum([exp(one - top) for one in logs]))
