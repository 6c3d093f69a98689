"""Why a check is proposed, in plain words."""

from collections.abc import Iterable

from msgspec import Struct

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.feasible import INVASIVE, Available, Candidate
from scalewitness.domain.sexing.tables import table


class Prospects(Struct, frozen=True):
    """The standing now and what a check is expected to do; ``anchored`` says whether its
    examiner knows an answer, ``silent`` is the loss that an unsettled sex counts as."""

    now: Standing
    loss_now: float
    loss_after: float
    verified: float
    blind: bool
    anchored: bool
    silent: float


def reasons(of: Prospects, method: Method, by: Available, candidate: Candidate) -> tuple[str, ...]:
    """Where the animal stands, what the check is expected to do, whether it is blind, what
    hangs on it and what the animal has been through."""
    return (
        _where(of),
        _expected(of, method, by.role),
        *_blind(of, by, candidate.animal in by.interested_in),
        *(table("planning.toml")["stakes"][stake]["what"] for stake in candidate.stakes),
        *_earlier(method, candidate),
    )


_ROLES: dict[Role, str] = {
    "keeper": "a keeper",
    "veterinarian": "a veterinarian",
    "laboratory": "a laboratory",
    "earlier_keeper": "an earlier keeper",
}


def _where(of: Prospects) -> str:
    if "atypical" in of.now.reasons:
        return "It is neither male nor female."
    if of.now.label == "contested":
        return "Its calls contradict each other."
    if of.now.label == "unsexed":
        return "Its sex is not settled."
    return f"It stands as {of.now.label}; {_hundred(of.loss_now)} in 100 such would be wrong."


def _expected(of: Prospects, method: Method, role: Role) -> str:
    noun = METHODS[method].noun
    text = (
        f"{noun[0].upper()}{noun[1:]} by {_ROLES[role]} would on average bring the "
        f"chance of a wrong decision from {_hundred(of.loss_now)} to "
        f"{_hundred(of.loss_after)} in 100"
    )
    if of.now.label in {"contested", "unsexed"}:
        text += f", an unsettled sex counted as at most {_hundred(of.silent)}"
    if of.verified < float(table("words.toml")["plans"]["verified_from"]["value"]):
        return f"{text}."
    return f"{text}, and leave it verified with a chance of {_hundred(of.verified)} in 100."


HAS_A_SHARE = "This examiner has a share in the animal."
REPORTED = "A call reported for someone else does not count as the blind one."


def _blind(of: Prospects, by: Available, interested: bool) -> Iterable[str]:
    if of.anchored:
        yield "This examiner knows an earlier answer, so the call counts for less."
    elif by.reported:
        yield REPORTED
    elif not of.blind:
        yield "This would not be a blind check."
    elif interested:
        yield HAS_A_SHARE
    elif "needs_blind_call" in of.now.reasons:
        yield "The record lacks a blind check, and this would be one."


def _earlier(method: Method, candidate: Candidate) -> Iterable[str]:
    times = len(candidate.invasive())
    if times and method in INVASIVE:
        so_far = "one invasive check" if times == 1 else f"{times} invasive checks"
        yield f"It has been through {so_far} already, and this would be one more."


def _hundred(p: float) -> str:
    share = 100 * p
    if share < 0.1:
        return "less than 0.1"
    return f"{share:.1f}".removesuffix(".0") if share < 10 or share > 99 else f"{share:.0f}"
