"""One call as the model sees it: what was found, and what stood around it."""

from functools import lru_cache
from typing import Literal

from msgspec import Struct

from scalewitness.domain.observations import (
    Conclusion,
    LifeStage,
    Method,
    Observation,
    Sex,
    Sureness,
    method_of,
)
from scalewitness.domain.sexing.parameters import CALL_BY_CALL, ParameterSet

Role = Literal["keeper", "veterinarian", "laboratory", "earlier_keeper"]
Identity = Literal["confirmed", "tub_tag", "unconfirmed", "mismatch"]
"""A code in the animal was read, or the tag of its tub, or neither, or a code not its own."""
Compared = Literal["same", "another"]
"""Whether a photo of the check and an earlier one show the same animal, to a stranger's eye."""
Identified = Literal["confirmed", "tub_tag", "unconfirmed", "mismatch", "denied"]
"""The identity, once photos were compared."""
Report = Literal["own", "unconfirmed", "confirmed", "denied"]


class Evidence(Struct, frozen=True):
    """A call that counts: neither withdrawn nor set aside by a finding.

    ``examiner`` is an opaque key; the same key means the same person. ``at`` is the
    claimed time in Unix milliseconds, ``position`` the place in the log, which alone
    orders calls. ``anchored_to`` is the earlier conclusion the examiner knew, their own
    included; None when the call was blind or nothing had been said yet. A call with a
    ``role`` other than keeper was reported by someone else: ``interested`` is then about
    them, and it is not blind, since what its examiner knew is hearsay.

    ``report``: whose word the call is. ``own``: its examiner sent it. Else it is the sender's
    alone (``unconfirmed``), or somebody without a share in it ``confirmed`` it, or whom it
    names ``denied`` it. Eggs or young that only an ``interested`` keeper saw are unconfirmed too.
    ``compared``: what photos say of ``identity``, None where nobody compared them.
    ``newcomer``: nobody with a footing stands behind it: not whoever made it, or of a report,
    whoever confirmed it. It weighs as much as any, and verifies nothing by itself.
    ``same_person``: whoever made it counts as one with an earlier examiner of this animal, or with
    its keeper: it weighs as much as any, and is nobody's agreement.
    """

    call: str
    examiner: str
    role: Role
    at: int
    position: int
    stage: LifeStage
    conclusion: Conclusion
    sureness: Sureness
    observed: Observation
    identity: Identity
    blind: bool
    interested: bool
    anchored_to: Sex | None = None
    report: Report = "own"
    compared: Compared | None = None
    newcomer: bool = False
    same_person: bool = False

    @property
    def method(self) -> Method:
        return method_of(self.observed)

    @property
    def identified(self) -> Identified:
        if self.compared is None:
            return self.identity
        return "confirmed" if self.compared == "same" else "denied"


_BEFORE: dict[Identified, Identified] = {"tub_tag": "confirmed", "denied": "unconfirmed"}
"""What older versions, which have no number for it, take an identity for."""


def another_animal(call: Evidence, numbers: ParameterSet) -> float:
    """How often another animal was examined, identified as this one was."""
    return _another_animal(call.identified, numbers)


@lru_cache(maxsize=512)
def _another_animal(identified: Identified, numbers: ParameterSet) -> float:
    rate = numbers.numbers.get(f"identity.{identified}")
    before = _BEFORE.get(identified, identified)
    return numbers.value(f"identity.{before}") if rate is None else rate.value


def asks_for_confirmation(parameters: str) -> bool:
    """Whether reports that nobody confirmed settle nothing in this version of the numbers."""
    return parameters not in CALL_BY_CALL


def as_sent(method: str, *, reported: bool, interested: bool) -> Report:
    """Whose word a call is before anyone else spoke of it."""
    seen_with_a_share = interested and method == "reproduction"
    return "unconfirmed" if reported or seen_with_a_share else "own"


def shared_doubt(call: Evidence) -> str:
    """The number that says how often reports like this one are false; empty for no such report."""
    if call.report != "unconfirmed":
        return ""
    return f"report.false.{'' if call.interested else 'dis'}interested"


def confirmed_doubt(call: Evidence, numbers: ParameterSet) -> str:
    """The number that says how often a confirmed report is mistaken all the same; a method may
    have one of its own. Empty for no such report."""
    if call.report != "confirmed":
        return ""
    of_method = f"report.mistaken.{call.method}"
    return of_method if of_method in numbers.numbers else "report.mistaken"


def other(sex: Sex) -> Sex:
    """The other of the two."""
    return "female" if sex == "male" else "male"
