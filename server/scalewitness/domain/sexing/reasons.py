"""Why a check is proposed, and what it could settle, in plain words."""

from collections.abc import Iterable

from msgspec import Struct

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.feasible import INVASIVE, Available, Candidate
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.weighing import Outlook, Weighing


class CheckProspects(Struct, frozen=True):
    """The standing now, and what is expected without the check and with it."""

    now: Standing
    before: Outlook
    after: Outlook
    weighing: Weighing

    @property
    def candidate(self) -> Candidate:
        return self.weighing.candidate

    @property
    def verifies(self) -> bool:
        """Whether the chance that it verifies the sex is worth a word."""
        return self.after.verified >= VERIFIED_FROM


VERIFIED_FROM = float(table("words.toml")["plans"]["verified_from"]["value"])


def settles(of: CheckProspects) -> str:
    """What the check could settle, with the chance of it."""
    if of.verifies:
        return f"Leaves {hundred(of.after.verified)} in 100 such verified."
    if of.before.probable > 0:
        return "Makes the answer surer; verifies none."
    if of.after.probable < VERIFIED_FROM:
        return "By itself it settles nothing."
    return f"Leaves {hundred(of.after.probable)} in 100 such probable, none verified."


def reasons(of: CheckProspects, method: Method, by: Available) -> tuple[str, ...]:
    """Where the animal stands, what the check is expected to do, whether it is blind, what
    hangs on it and what the animal has been through."""
    return (
        _where(of),
        _expected(of, method, by.role),
        *_blind(of, by),
        *_species(of, method),
        *(table("planning.toml")["stakes"][stake]["what"] for stake in of.candidate.stakes),
        *_season(of.candidate.hanging),
        *_earlier(method, of.candidate),
    )


def _season(hanging: float) -> Iterable[str]:
    if hanging >= HANGING_FROM:
        yield f"{hundred(hanging)} in 100 of a planned season hang on it."


HANGING_FROM = 0.005
"""From this share on it is told."""
_ROLES: dict[Role, str] = {
    "keeper": "a keeper",
    "veterinarian": "a veterinarian",
    "laboratory": "a laboratory",
    "earlier_keeper": "an earlier keeper",
}


def _where(of: CheckProspects) -> str:
    if "atypical" in of.now.reasons:
        return "It is neither male nor female."
    if of.now.label == "contested":
        return "Its calls contradict each other."
    if of.now.label == "unsexed":
        return "Its sex is not settled."
    return f"It stands as {of.now.label}; {hundred(of.before.loss)} in 100 such would be wrong."


def _expected(of: CheckProspects, method: Method, role: Role) -> str:
    noun = METHODS[method].noun
    text = (
        f"{noun[0].upper()}{noun[1:]} by {_ROLES[role]} would on average bring the "
        f"chance of a wrong decision from {hundred(of.before.loss)} to "
        f"{hundred(of.after.loss)} in 100"
    )
    if of.now.label in {"contested", "unsexed"}:
        silent = 1 - of.weighing.policy.probable
        text += f", an unsettled sex counted as at most {hundred(silent)}"
    if not of.verifies:
        return f"{text}."
    return f"{text}, and leave it verified with a chance of {hundred(of.after.verified)} in 100."


HAS_A_SHARE = "This examiner has a share in the animal."
NEWCOMER = (
    "This examiner’s word alone verifies nothing now: a check by somebody known here has to agree "
    "with it."
)
REPORTED = "A call reported for someone else does not count as the blind one."
UNCONFIRMED = "Until they confirm it, it is the word of whoever sends it, and verifies nothing."
TO_BE_CONFIRMED = (
    "It counts for as much once they confirm it, by the record’s letter or with their account."
)


def _blind(of: CheckProspects, by: Available) -> Iterable[str]:
    if of.weighing.anchored(by) is not None:
        yield "This examiner knows an earlier answer, so the call counts for less."
    elif by.reported:
        yield REPORTED
        yield TO_BE_CONFIRMED if of.candidate.animal in by.confirms else UNCONFIRMED
    elif not of.weighing.blind(by):
        yield "This would not be a blind check."
    elif of.candidate.animal in by.interested_in:
        yield HAS_A_SHARE
    elif by.newcomer:
        yield NEWCOMER
    elif "needs_blind_call" in of.now.reasons:
        yield "The record lacks a blind check, and this would be one."
    elif "newcomers" in of.now.reasons:
        yield "The record lacks a blind check by somebody known here, and this would be one."


ALONE_NEVER = (
    "How deep this species probes is not known well enough: probing alone, however often, "
    "never verifies its sex."
)


def _species(of: CheckProspects, method: Method) -> Iterable[str]:
    if method == "probing" and of.weighing.never_by_probing:
        yield ALONE_NEVER


def _earlier(method: Method, candidate: Candidate) -> Iterable[str]:
    times = len(candidate.invasive())
    if times and method in INVASIVE:
        so_far = "one invasive check" if times == 1 else f"{times} invasive checks"
        yield f"It has been through {so_far} already, and this would be one more."


def hundred(p: float) -> str:
    """A chance in a hundred, as it is said."""
    share = 100 * p
    if share < 0.1:
        return "less than 0.1"
    return f"{share:.1f}".removesuffix(".0") if share < 10 or share > 99 else f"{share:.0f}"
