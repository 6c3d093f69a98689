"""What a check that has not been made would do to one animal's record.

For each check the model's own chances of everything it may show, given all that is on record,
are followed through to the record that would then be. Doubts shared by all checks of a method
are in those chances: a fifth probing by a fifth keeper is known to be worth less than the second.
"""

from collections.abc import Iterable, Sequence
from functools import cached_property
from math import exp
from typing import Self

from msgspec import Struct

from scalewitness.domain.observations import Method, Sex, method_of
from scalewitness.domain.sexing.case import Case, Standing, SupposedCase, case_of
from scalewitness.domain.sexing.evidence import Evidence, Report, as_sent
from scalewitness.domain.sexing.feasible import Available, Candidate
from scalewitness.domain.sexing.likelihood import Pair, mix
from scalewitness.domain.sexing.outcomes import PossibleOutcome, prospect
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.what_if import SUPPOSED, known

Branch = tuple[float, Case]
"""The chance of something a check may say, and the record with it."""


class Outlook(Struct, frozen=True):
    """What is expected: ``loss`` is the chance of a wrong decision, ``probable`` the chance that
    a sex is at least probable, ``verified`` that it is verified."""

    loss: float
    probable: float
    verified: float


class Weighing:
    """One animal's record at a time (Unix milliseconds), and what each check may add to it."""

    def __init__(
        self, candidate: Candidate, case: Case, at: int, policy: Policy, parameters: Parameters
    ) -> None:
        self.candidate = candidate
        self.case = case
        self.at = at
        self.policy = policy
        self.parameters = parameters

    @classmethod
    def of(
        cls,
        candidate: Candidate,
        at: int,
        records: ExaminerRecords,
        policy: Policy,
        parameters: Parameters,
    ) -> Self:
        """As the record is. Raises ValueError as :func:`case_of`."""
        case = case_of(
            candidate.evidence,
            candidate.taxon,
            records,
            parameters,
            candidate.prior_male,
            candidate.prior_pessimistic,
            known_elsewhere=candidate.known_elsewhere,
        )
        return cls(candidate, case, at, policy, parameters)

    def after(self, case: Case, candidate: Candidate, at: int) -> Self:
        """The same animal with one of the records that a check may lead to."""
        return type(self)(candidate, case, at, self.policy, self.parameters)

    @cached_property
    def now(self) -> Standing:
        return self.case.standing(self.policy)

    @property
    def never_by_probing(self) -> bool:
        """Whether the doubt about how deep the species probes keeps all probings together from
        verifying its sex."""
        doubt = self.parameters.base.get(
            f"species.{self.candidate.taxon.ground or 'in general'}", 0
        )
        return 1 - doubt / 2 < self.policy.verified

    def outlook(self, branches: Iterable[Branch]) -> Outlook:
        """The mean over records that may come to be; their chances sum to one."""
        found = [(chance, case.standing(self.policy)) for chance, case in branches]
        return Outlook(
            sum(chance * loss(one, self.policy) for chance, one in found),
            sum(chance for chance, one in found if one.label.startswith(("probable", "verified"))),
            sum(chance for chance, one in found if one.label.startswith("verified")),
        )

    def follow(self, method: Method, by: Available) -> list[Branch]:
        """Everything that a check may say, the last that it says nothing; alone that one where
        it can say nothing here."""
        possible = prospect(method, self.candidate.taxon, self.parameters)
        found: list[Branch] = []
        seen, before, anchored = [0.0, 0.0], self.case.base.pair(), self.anchored(by)
        for outcome in possible.outcomes:
            after = self.case.plus(self._supposed(outcome, by, anchored))
            reading = after.base.weighed[-1].reading
            if not reading.informative:
                continue
            found.append((self._chance(before, after), after))
            seen = [sum(pair) for pair in zip(seen, map(exp, reading.pair), strict=True)]
        # Entries of a list of findings are ratios; chances of more than one are scaled down.
        share = possible.informative / max(1.0, *seen)
        found = [(share * chance, case) for chance, case in found]
        return [*found, (1 - sum(chance for chance, _ in found), self.case)]

    def blind(self, by: Available) -> bool:
        """Whether the record would take their check for a blind one."""
        if by.reported or self.candidate.animal in by.knows:
            return False
        return not self._own(by)

    def anchored(self, by: Available) -> Sex | None:
        """What the examiner would know: the record, or at least what they said earlier."""
        if self.candidate.animal in by.knows:
            return known(self.now.label, self.case.calls, self.candidate.prior_male)
        # A reported call is held against what its examiner is said to have been told alone.
        return None if by.reported else known("", self._own(by))

    def _chance(self, before: Pair, after: Case) -> float:
        """The chance of the last call of ``after``, given all that is on record."""
        prior = self.candidate.prior_male
        with_it, without = (mix(pair[1], pair[0], prior) for pair in (after.base.pair(), before))
        return exp(with_it - without)

    def _supposed(
        self, outcome: PossibleOutcome, by: Available, anchored: Sex | None
    ) -> SupposedCase:
        candidate, calls = self.candidate, self.case.calls
        call = Evidence(
            call=f"{SUPPOSED} {len(calls)}",
            examiner=by.examiner,
            role=by.role,
            at=self.at,
            position=max((one.position for one in calls), default=-1) + 1,
            stage=candidate.stage,
            conclusion=outcome.conclusion,
            sureness="certain",
            observed=outcome.observed,
            identity=candidate.identity,
            blind=self.blind(by),
            interested=candidate.animal in by.interested_in,
            anchored_to=anchored,
            report=self._report(method_of(outcome.observed), by),
            newcomer=by.newcomer,
        )
        return SupposedCase(call, outcome.base, outcome.pessimistic)

    def _report(self, method: Method, by: Available) -> Report:
        animal = self.candidate.animal
        if by.reported and animal in by.confirms:
            return "confirmed"
        interested = animal in by.interested_in
        return as_sent(method, reported=by.reported, interested=interested)

    def _own(self, by: Available) -> Sequence[Evidence]:
        return [call for call in self.case.calls if call.examiner == by.examiner]


def loss(standing: Standing, policy: Policy) -> float:
    """The chance of a wrong decision under this standing, silence counted as the chance at
    which the policy prefers it. Concave in the probability, so that no check is expected
    to raise it. An animal taken out of both sexes gains by no check."""
    if "atypical" in standing.reasons:
        return 1 - policy.probable
    return min(1 - policy.probable, standing.p_male, 1 - standing.p_male)
