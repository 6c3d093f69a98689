"""What is learned from: animals settled by confirmed proof, and who checked them unknowing."""

from collections.abc import Hashable, Iterable, Sequence
from typing import NamedTuple

from msgspec import Struct

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.sessions import heard

LEARNED_OF: tuple[Method, ...] = (
    "probing",
    "eversion",
    "ultrasound",
    "radiography",
    "scale_count",
)
"""Examinations that are no proof themselves: how often a proof is wrong, proofs cannot tell."""
IMPRESSIONS: tuple[Method, ...] = ("visual", "statement")
"""No examinations: of these it is learned of how many animals they say the wrong sex, whoever
speaks, and never that these are fewer than is held. Whoever repeats what a seller said has an
interest, and reads no code for it: enough that nothing was on record before."""
KNOWN_DEPTHS = frozenset({"published", "learned here"})
"""Where depths rest on anything else, a misread animal cannot be told from a misjudged species."""


class SettledAnimal(Struct, frozen=True):
    """``collection`` is an opaque key: whose animal it was when it was settled. ``checks`` are
    the calls on it, ``provers`` who made the proof. Errors are learned from the checks of others
    that were blind, their examiner's own, and of an animal whose code was read, but for
    impressions."""

    species: str
    sex: Sex
    collection: str
    checks: tuple[Evidence, ...]
    provers: tuple[str, ...] = ()

    @property
    def in_order(self) -> list[Evidence]:
        """The checks as they stand in the log."""
        return sorted(self.checks, key=lambda call: (call.position, call.call))


class Look(NamedTuple):
    """One examiner's first check of one settled animal by one method. ``animal`` counts them;
    ``heard`` is what somebody else had concluded before."""

    animal: int
    of: SettledAnimal
    call: Evidence
    heard: Sex | None = None

    @property
    def sex(self) -> Sex:
        return self.of.sex


def ordered(settled: Iterable[SettledAnimal]) -> list[SettledAnimal]:
    """In an order that depends on the record alone."""
    return sorted(settled, key=_place)


def looks_at(animals: Iterable[SettledAnimal]) -> tuple[Look, ...]:
    """Every look at animals in order that errors can be learned from."""
    return tuple(look for n, of in enumerate(animals) for look in looks_of(n, of))


def _place(of: SettledAnimal) -> tuple[str, str, Sex, list[tuple[int, str]]]:
    return of.collection, of.species, of.sex, [(call.position, call.call) for call in of.in_order]


def looks_of(number: int, of: SettledAnimal) -> Iterable[Look]:
    """Of one of them. A second look at the same animal is neither blind to the first nor a trial
    of its own."""
    seen = set()
    calls = of.in_order
    for n, call in enumerate(calls):
        by = call.examiner, call.method
        if _tells(call) and by not in seen and call.examiner not in of.provers:
            seen.add(by)
            yield Look(number, of, call, heard(call, calls[:n]))


def _tells(call: Evidence) -> bool:
    if call.conclusion == "undetermined" or call.report not in {"own", "confirmed"}:
        return False
    if call.method in IMPRESSIONS:
        return call.anchored_to is None and call.identified not in {"mismatch", "denied"}
    return call.method in LEARNED_OF and call.blind and call.identified == "confirmed"


def what_it_says(look: Look) -> Hashable:
    """Looks alike in this say the same of an animal, but for their examiner's own habits: few of
    many differ, and each is weighed once."""
    call = look.call
    return look.of.species, call.observed, call.conclusion, call.role, call.sureness, call.stage


class Basis(NamedTuple):
    """How much a number was learned from."""

    males: int
    females: int
    examiners: int
    collections: int


def basis(looks: Sequence[Look]) -> Basis:
    """Settled animals of either sex, those who checked them, and whose they were."""
    animals = {look.animal: look.sex for look in looks}
    males = sum(sex == "male" for sex in animals.values())
    examiners = {look.call.examiner for look in looks}
    return Basis(
        males, len(animals) - males, len(examiners), len({look.of.collection for look in looks})
    )
