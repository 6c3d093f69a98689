"""What is learned from: animals settled by confirmed proof, and who checked them unknowing."""

from collections.abc import Hashable, Iterable, Sequence
from typing import NamedTuple

from msgspec import Struct

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Evidence

LEARNED_OF: tuple[Method, ...] = (
    "probing",
    "eversion",
    "ultrasound",
    "radiography",
    "scale_count",
)
"""Examinations that are no proof themselves: how often a proof is wrong, proofs cannot tell."""


class SettledAnimal(Struct, frozen=True):
    """``collection`` is an opaque key: whose animal it was when it was settled. ``checks`` are
    the calls on it by those who did not make the proof. Of these the ones that were not blind,
    not their examiner's own, or on an animal whose code was not read are passed over."""

    species: str
    sex: Sex
    collection: str
    checks: tuple[Evidence, ...]


class Look(NamedTuple):
    """One examiner's first check of one settled animal by one method. ``animal`` counts them."""

    animal: int
    of: SettledAnimal
    call: Evidence

    @property
    def sex(self) -> Sex:
        return self.of.sex


def looks_at(settled: Iterable[SettledAnimal]) -> tuple[Look, ...]:
    """Everything that can be learned from, in an order that depends on the record alone."""
    ordered = sorted(settled, key=_place)
    return tuple(Look(n, of, call) for n, of in enumerate(ordered) for call in _first(of.checks))


def _place(of: SettledAnimal) -> tuple[str, str, Sex, list[tuple[int, str]]]:
    return (
        of.collection,
        of.species,
        of.sex,
        sorted((call.position, call.call) for call in of.checks),
    )


def _first(checks: Sequence[Evidence]) -> Iterable[Evidence]:
    """A second look at the same animal is neither blind to the first nor a trial of its own."""
    seen = set()
    for call in sorted(checks, key=lambda call: (call.position, call.call)):
        by = call.examiner, call.method
        if _tells(call) and by not in seen:
            seen.add(by)
            yield call


def _tells(call: Evidence) -> bool:
    return (
        call.method in LEARNED_OF
        and call.conclusion != "undetermined"
        and call.blind
        and call.report in {"own", "confirmed"}
        and call.identified == "confirmed"
    )


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
