"""One call as the model sees it: what was found, and what stood around it."""

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

Role = Literal["keeper", "veterinarian", "laboratory", "earlier_keeper"]
Identity = Literal["confirmed", "unconfirmed", "mismatch"]


class Evidence(Struct, frozen=True):
    """A call that counts: neither withdrawn nor set aside by a finding.

    ``examiner`` is an opaque key; the same key means the same person. ``at`` is the
    claimed time in Unix milliseconds, ``position`` the place in the log, which alone
    orders calls. ``anchored_to`` is the earlier conclusion the examiner knew, their own
    included; None when the call was blind or nothing had been said yet. A call with a
    ``role`` other than keeper was reported by someone else: ``interested`` is then about
    them, and it is not blind, since what its examiner knew is hearsay.
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

    @property
    def method(self) -> Method:
        return method_of(self.observed)


def other(sex: Sex) -> Sex:
    """The other of the two."""
    return "female" if sex == "male" else "male"
