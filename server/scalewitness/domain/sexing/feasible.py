"""Which checks can be made of an animal, by whom, and why not the others.

Life stage, the species' sex chromosomes, the examiner's role, and the times to leave an
animal alone: after a meal, in shed, gravid, ill, and after earlier invasive checks.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Literal, cast

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import LifeStage, Method
from scalewitness.domain.sexing.evidence import Evidence, Identity, Role
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import Taxon

Stake = Literal["planned_pairing", "dispute", "open_sale"]

_DAY = 86_400_000


class Condition(Struct, frozen=True):
    """How the animal is on the day; times in Unix milliseconds. ``examined`` lists every
    check ever made, withdrawn ones too, as (method, time); None: those in evidence."""

    fed_at: int | None = None
    in_shed: bool = False
    gravid: bool = False
    ill: bool = False
    too_small: bool = False
    examined: tuple[tuple[Method, int], ...] | None = None


def as_of(condition: Condition, at: int) -> Condition:
    """The same without a meal so long ago that it keeps nobody away."""
    days = planning_number("rest", "invasive_meal_days")
    if condition.fed_at is None or at - condition.fed_at < days * _DAY:
        return condition
    return replace(condition, fed_at=None)


class Candidate(Struct, frozen=True):
    """An animal that might be checked. ``identity``: by what there is of it to read;
    ``hanging``: the share of a planned season that is lost if it is of the other sex;
    ``clutch``: those named alike are taken out together. The chances of male are those that
    the answer starts from; None: the pessimistic set has none of its own."""

    animal: str
    taxon: Taxon
    stage: LifeStage
    evidence: tuple[Evidence, ...] = ()
    stakes: tuple[Stake, ...] = ()
    hanging: float = 0.0
    condition: Condition = Condition()
    identity: Identity = "confirmed"
    prior_male: float = 0.5
    prior_pessimistic: float | None = None
    clutch: str = ""
    known_elsewhere: bool = False
    """Another record bore its transponder first, so no check verifies it here."""

    def examined(self) -> Sequence[tuple[Method, int]]:
        """Every check made so far, as (method, time)."""
        if self.condition.examined is not None:
            return self.condition.examined
        return [(call.method, call.at) for call in self.evidence]

    def invasive(self) -> list[tuple[Method, int]]:
        """Those of them that entered the body."""
        return [(method, at) for method, at in self.examined() if method in INVASIVE]


class Available(Struct, frozen=True):
    """An examiner who could come. ``knows`` names the animals whose earlier answer they
    know, ``interested_in`` those they own, hold a share in or sell; ``methods`` what they
    can do, None for all that their trade allows. ``reported``: someone else would send the
    call, so it is not blind though nothing anchors it; ``interested_in`` is then theirs.
    ``confirms`` names the animals of which whoever is quoted can be asked, and their answer
    counts. ``anyone``: nobody in particular, so that a second check by them is by somebody
    else. ``cost`` of one check, as the share of a wrong decision that it is worth. ``newcomer``:
    their word has no footing yet, so by itself it verifies nothing."""

    examiner: str
    role: Role
    knows: frozenset[str] = frozenset()
    interested_in: frozenset[str] = frozenset()
    methods: frozenset[Method] | None = None
    reported: bool = False
    confirms: frozenset[str] = frozenset()
    anyone: bool = False
    cost: float = 0.0
    newcomer: bool = False


def _lists(part: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = table("planning.toml")[part]
    return found


def planning_number(part: str, name: str, default: float = 0.0) -> float:
    """One number of the planning data; ``default`` where it has none."""
    entry = _lists(part).get(name)
    return default if entry is None else float(entry["value"])


INVASIVE: frozenset[Method] = frozenset(_lists("methods")["invasive"])
WITHOUT_THE_ANIMAL: frozenset[Method] = frozenset(_lists("methods")["without_the_animal"])
ONLY_AT_FIRST: frozenset[Method] = frozenset(
    cast(Method, method) for method, stages in _lists("not_at").items() if "adult" in stages
)
"""Methods for the first days to weeks of a snake."""
PLANNED: tuple[Method, ...] = tuple(cast(Mapping[Method, Any], _lists("who")))
"""Methods that can be planned; nobody plans eggs, and looks and hearsay are no check."""


def obstacles(candidate: Candidate, method: Method, by: Available, at: int) -> tuple[str, ...]:
    """Why this examiner cannot, or should not, put the animal to this check at that time
    (Unix milliseconds), in words; nothing when they can."""
    return (
        *_of_examiner(method, by),
        *_of_animal(candidate, method),
        *_of_day(candidate.condition, method, at),
        *_of_earlier_checks(candidate, method, at),
    )


def _of_examiner(method: Method, by: Available) -> Iterable[str]:
    if by.role not in _lists("who")[method]:
        yield "An examiner in this role does not use this method."
    elif by.methods is not None and method not in by.methods:
        yield "This examiner does not use this method."


def _of_animal(candidate: Candidate, method: Method) -> Iterable[str]:
    kind = candidate.taxon
    if candidate.stage in _lists("not_at").get(method, ()):
        yield _WRONG_STAGE[method]
    if method == "dna" and kind.sex_system == "unknown":
        yield "It is not known which sex chromosomes this species has."
    elif method == "dna" and not kind.has_dna_test:
        yield "No DNA test has been shown to tell the sexes of this species apart."
    if method == "scale_count" and not (kind.male_subcaudals and kind.female_subcaudals):
        yield "No scale counts by sex are known for this species."


_WRONG_STAGE: dict[Method, str] = {
    "eversion": "This is for the first days to weeks after hatching only.",
    "radiography": "The animal is too young for contrast.",
    "endoscopy": "The animal is, or may be, too young for an endoscope.",
}


def _of_day(condition: Condition, method: Method, at: int) -> Iterable[str]:
    if method in WITHOUT_THE_ANIMAL:
        return
    if condition.ill:
        yield "The animal is ill."
    if condition.in_shed:
        yield "The animal is in shed."
    invasive = method in INVASIVE
    if condition.gravid and invasive:
        yield "The animal is gravid."
    if condition.too_small and invasive:
        yield "The animal is too small."
    days = planning_number("rest", "invasive_meal_days" if invasive else "handling_days")
    if condition.fed_at is not None and 0 <= at - condition.fed_at < days * _DAY:
        yield f"It was fed less than {days:g} days before."


def _of_earlier_checks(candidate: Candidate, method: Method, at: int) -> Iterable[str]:
    if method not in INVASIVE:
        return
    days = planning_number("rest", "invasive_days")
    if any(abs(at - before) < days * _DAY for _, before in candidate.invasive()):
        yield f"Less than {days:g} days lie between this and another invasive check."
    times = sum(done == method for done, _ in candidate.examined())
    if times >= planning_number("most", method, float("inf")):
        yield f"It has been examined this way {times} times already."
