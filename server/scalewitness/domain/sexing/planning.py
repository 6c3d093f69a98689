"""The next best check: what it would take off the chance of a wrong decision.

Acting on the favoured sex is wrong with the chance of the other; not acting counts as wrong
with the chance at which the policy falls silent (one in ten under the default policy), and
the lesser of the two is what an animal's record costs. For each check the model's own
chances of everything it may show, given all that is on record, are followed through to
that loss and to the label, and averaged:

benefit = stake · (loss now − expected loss + worth of a verified sex · rise in its chance)
          − burden on the animal.

Doubts shared by all sessions of a method are in those chances: a fifth probing by a fifth
keeper is known to be worth less than the second. The words say what is on record, so they
are for the host, never for a blind guest.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import exp

from msgspec import Struct

from scalewitness.domain.observations import Method, Sex, method_of
from scalewitness.domain.sexing.case import Case, Standing, SupposedCase, case_of
from scalewitness.domain.sexing.evidence import Evidence, Role, as_sent
from scalewitness.domain.sexing.feasible import (
    PLANNED,
    Available,
    Candidate,
    obstacles,
    planning_number,
)
from scalewitness.domain.sexing.likelihood import Pair, mix
from scalewitness.domain.sexing.outcomes import PossibleOutcome, prospect
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.reasons import Prospects, reasons
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.what_if import SUPPOSED, known


class Check(Struct, frozen=True):
    """One check worth making. ``loss_now`` and ``loss_after`` are chances of a wrong
    decision, the second as expected; ``verified`` is the chance that the sex is verified
    afterwards; ``benefit`` is all of it, by stake and less ``burden``; ``minutes`` at the
    animal with everything around it."""

    animal: str
    method: Method
    examiner: str
    role: Role
    blind: bool
    minutes: float
    benefit: float
    loss_now: float
    loss_after: float
    verified: float
    burden: float
    stake: float
    reasons: tuple[str, ...] = ()

    @property
    def per_minute(self) -> float:
        """Benefit for each minute it takes."""
        return self.benefit / self.minutes


class RuledOut(Struct, frozen=True):
    """A check that is not proposed, and why, in words."""

    animal: str
    method: Method
    examiner: str
    why: tuple[str, ...]


class Plan(Struct, frozen=True):
    """Every check of one animal that is worth making, the best first, and the others."""

    checks: tuple[Check, ...]
    ruled_out: tuple[RuledOut, ...]


def plan(
    candidate: Candidate,
    examiners: Iterable[Available],
    at: int,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
) -> Plan:
    """What is worth doing with one animal at a time (Unix milliseconds). Raises ValueError
    as :func:`case_of`."""
    weighing = _Weighing(candidate, at, records, policy, parameters)
    checks, ruled_out = [], []
    for by in examiners:
        for method in PLANNED:
            why = obstacles(candidate, method, by, at)
            check = None if why else weighing.check(method, by)
            if check is not None and check.benefit >= planning_number("worth", "least"):
                checks.append(check)
            else:
                why = why or (_NOT_WORTH_IT,)
                ruled_out.append(RuledOut(candidate.animal, method, by.examiner, why))
    checks.sort(key=lambda check: (-check.benefit, check.minutes, check.method, check.examiner))
    return Plan(tuple(checks), tuple(ruled_out))


class PlannedSheet(Struct, frozen=True):
    """A visit: at most one check for each animal, in the order of benefit per minute;
    ``minutes`` of the ``budget`` it takes; animals ``left_out`` for want of time, and
    those for which nothing is worth doing (``no_need``)."""

    lines: tuple[Check, ...]
    minutes: float
    budget: float
    left_out: tuple[str, ...]
    no_need: tuple[str, ...]


def fill_visit(
    candidates: Iterable[Candidate],
    examiners: Sequence[Available],
    minutes: float,
    at: int,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
) -> PlannedSheet:
    """The checks to make in so many minutes: by benefit per minute, then, while time is
    left, the better check of an animal in place of the quicker one."""
    options = {
        one.animal: plan(one, examiners, at, records, policy, parameters).checks
        for one in candidates
    }
    chosen = _upgraded(_greedy(options, minutes), options, minutes)
    lines = sorted(chosen.values(), key=_rank)
    return PlannedSheet(
        lines=tuple(lines),
        minutes=sum(line.minutes for line in lines),
        budget=minutes,
        left_out=tuple(a for a, checks in options.items() if checks and a not in chosen),
        no_need=tuple(a for a, checks in options.items() if not checks),
    )


def _rank(check: Check) -> tuple[float, float, str, str, str]:
    return -check.per_minute, -check.benefit, check.animal, check.method, check.examiner


def _greedy(options: Mapping[str, Sequence[Check]], minutes: float) -> dict[str, Check]:
    chosen: dict[str, Check] = {}
    for check in sorted((one for checks in options.values() for one in checks), key=_rank):
        if check.animal not in chosen and check.minutes <= minutes:
            chosen[check.animal] = check
            minutes -= check.minutes
    return chosen


def _upgraded(
    chosen: dict[str, Check], options: Mapping[str, Sequence[Check]], minutes: float
) -> dict[str, Check]:
    spare = minutes - sum(check.minutes for check in chosen.values())
    while True:
        steps = [
            (better.benefit - now.benefit, now, better)
            for now in chosen.values()
            for better in options[now.animal]
            if better.benefit > now.benefit and better.minutes - now.minutes <= spare
        ]
        if not steps:
            return chosen
        _, now, better = max(steps, key=lambda step: (step[0], step[2].animal, step[2].method))
        chosen = {**chosen, now.animal: better}
        spare -= better.minutes - now.minutes


def loss(standing: Standing, policy: Policy) -> float:
    """The chance of a wrong decision under this standing, silence counted as the chance at
    which the policy prefers it. Concave in the probability, so that no check is expected
    to raise it."""
    return min(1 - policy.probable, standing.p_male, 1 - standing.p_male)


_NOT_WORTH_IT = "It would change too little to be worth the burden on the animal."


class _Weighing:
    """One animal's record, and what each possible check would do to it."""

    def __init__(
        self,
        candidate: Candidate,
        at: int,
        records: ExaminerRecords,
        policy: Policy,
        parameters: Parameters,
    ) -> None:
        self.candidate = candidate
        self.at = at
        self.policy = policy
        self.parameters = parameters
        self.case = case_of(
            candidate.evidence, candidate.taxon, records, parameters, candidate.prior_male
        )
        self.now = self.case.standing(policy)
        self.stake = max(
            (planning_number("stakes", stake) for stake in candidate.stakes),
            default=planning_number("stakes", "none"),
        )

    def check(self, method: Method, by: Available) -> Check | None:
        """What this check would bring; None when it can say nothing here."""
        anchored = self._anchored(by)
        found = self._followed(method, by, anchored)
        if not found:
            return None
        loss_now = loss(self.now, self.policy)
        rest = 1 - sum(chance for chance, _ in found)
        loss_after = rest * loss_now + sum(p * loss(after, self.policy) for p, after in found)
        sure_now = float(_verified(self.now))
        verified = rest * sure_now + sum(p for p, after in found if _verified(after))
        burden = _burden(method, self.candidate)
        worth = loss_now - loss_after + planning_number("worth", "verified") * (verified - sure_now)
        outlook = Prospects(
            now=self.now,
            loss_now=loss_now,
            loss_after=loss_after,
            verified=verified,
            blind=self._blind(by),
            anchored=anchored is not None,
            silent=1 - self.policy.probable,
        )
        return Check(
            animal=self.candidate.animal,
            method=method,
            examiner=by.examiner,
            role=by.role,
            blind=self._blind(by),
            minutes=planning_number("minutes", "setup") + planning_number("minutes", method),
            benefit=self.stake * worth - burden,
            loss_now=loss_now,
            loss_after=loss_after,
            verified=verified,
            burden=burden,
            stake=self.stake,
            reasons=reasons(outlook, method, by, self.candidate),
        )

    def _followed(
        self, method: Method, by: Available, anchored: Sex | None
    ) -> list[tuple[float, Standing]]:
        """The chance of everything the check may say, with the standing it would lead to;
        what is left over leaves the standing as it is."""
        possible = prospect(method, self.candidate.taxon, self.parameters)
        found, seen = [], [0.0, 0.0]
        before = self.case.base.pair()
        for outcome in possible.outcomes:
            after = self.case.plus(self._supposed(outcome, by, anchored))
            reading = after.base.weighed[-1].reading
            if not reading.informative:
                continue
            found.append((self._chance(before, after), after.standing(self.policy)))
            seen = [sum(pair) for pair in zip(seen, map(exp, reading.pair), strict=True)]
        # Entries of a list of findings are ratios; chances of more than one are scaled down.
        share = possible.informative / max(1.0, *seen)
        return [(share * chance, standing) for chance, standing in found]

    def _chance(self, before: Pair, after: Case) -> float:
        """The chance of the last call of ``after``, given all that is on record."""
        prior = self.candidate.prior_male
        with_it, without = (mix(pair[1], pair[0], prior) for pair in (after.base.pair(), before))
        return exp(with_it - without)

    def _supposed(
        self, outcome: PossibleOutcome, by: Available, anchored: Sex | None
    ) -> SupposedCase:
        candidate, method = self.candidate, method_of(outcome.observed)
        interested = candidate.animal in by.interested_in
        call = Evidence(
            call=SUPPOSED,
            examiner=by.examiner,
            role=by.role,
            at=self.at,
            position=max((one.position for one in candidate.evidence), default=-1) + 1,
            stage=candidate.stage,
            conclusion=outcome.conclusion,
            sureness="certain",
            observed=outcome.observed,
            identity="confirmed" if candidate.identified else "unconfirmed",
            blind=self._blind(by),
            interested=interested,
            anchored_to=anchored,
            report=as_sent(method, reported=by.reported, interested=interested),
        )
        return SupposedCase(call, outcome.base, outcome.pessimistic)

    def _own(self, by: Available) -> list[Evidence]:
        return [call for call in self.candidate.evidence if call.examiner == by.examiner]

    def _blind(self, by: Available) -> bool:
        if by.reported or self.candidate.animal in by.knows:
            return False
        return not self._own(by)

    def _anchored(self, by: Available) -> Sex | None:
        """What the examiner would know: the record, or at least what they said earlier."""
        if self.candidate.animal in by.knows:
            return known(self.now.label, self.candidate.evidence, self.candidate.prior_male)
        # A reported call is held against what its examiner is said to have been told alone.
        return None if by.reported else known("", self._own(by))


def _verified(standing: Standing) -> bool:
    return standing.label.startswith("verified")


def _burden(method: Method, candidate: Candidate) -> float:
    earlier = len(candidate.invasive())
    return planning_number("burden", method) * (1 + planning_number("burden", "again") * earlier)
