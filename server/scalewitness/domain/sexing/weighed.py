"""A call with all that decides its weight, and calls gathered into sessions."""

from msgspec import Struct

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.findings import Reading
from scalewitness.domain.sexing.likelihood import NOTHING, Pair

Person = tuple[str, Role, bool]
"""Whose sessions these are; calls on what seems another animal are kept apart."""


class WeighedCall(Struct, frozen=True):
    """``pair`` as the version's formula lets it into a session; ``epsilon`` and ``alpha`` as
    (if male, if female), ``doubt`` about identity, ``kappa`` how much of it merely repeats
    what the examiner knew. ``species`` names the number that says how far the species' depths
    can be relied on, if any; ``hearsay``: whether it is one side's word for somebody else's
    finding; ``may_decide``: whether such a call may settle a sex without a second examiner;
    ``by_size`` names what was learned here of animals of its size. ``heard``: what others had
    concluded before one who is said not to have known it, ``unblind`` how often that is
    repeated all the same."""

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
    species: str = ""
    hearsay: bool = False
    may_decide: bool = True
    by_size: tuple[str, ...] = ()
    heard: Sex | None = None
    unblind: float = 0.0

    @property
    def knowing(self) -> bool:
        """Whether an answer known before may have shaped what was seen."""
        return self.kappa > 0


class SessionPart(Struct, frozen=True):
    """One session's share in one method. ``first`` is one of its calls, ``pair`` what was
    seen with the session's own error in it, ``epsilon`` the error that lasts beyond it;
    ``alone`` with every error in it, for a formula that needs it again."""

    first: WeighedCall
    pair: Pair
    alpha: Pair
    doubt: float
    epsilon: Pair = NOTHING
    species: float = 0.0
    alone: Pair = NOTHING

    @property
    def method(self) -> Method:
        return self.first.method


class Session(Struct, frozen=True):
    """The informative calls of one examiner on one occasion, by log position;
    ``log_ratio`` is the natural log of what they say alone, male over female; ``unproven`` the
    same had the examiner no record of their own; ``position`` is where in the log it began."""

    calls: tuple[WeighedCall, ...]
    parts: tuple[SessionPart, ...]
    log_ratio: float
    unproven: float
    position: int
