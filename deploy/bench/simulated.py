"""Animals and calls drawn from a world whose truth is known, for `simulation.py`."""

import sys
from collections.abc import Sequence
from math import exp, log
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.histories import Record
from bench.worlds import World
from scalewitness.domain.observations import (
    Conclusion,
    LifeStage,
    Method,
    Observation,
    Pass,
    Probing,
    Sex,
)
from scalewitness.domain.sexing.depths import depth_table
from scalewitness.domain.sexing.evidence import Evidence, Report, Role, other, shared_doubt
from scalewitness.domain.sexing.findings import reading, typical
from scalewitness.domain.sexing.learning.settled import SettledAnimal
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.sessions import Weigher, anchoring
from scalewitness.domain.sexing.taxa import Taxon, taxon

DAY = 86_400_000
PROOFS = ("dna", "endoscopy")
SPECIES = ("python_regius", "boa_imperator", "pantherophis_guttatus", "pituophis_ruthveni")
SEXES: tuple[Sex, Sex] = ("male", "female")


TRADES: dict[Role, int] = {"keeper": 150, "veterinarian": 15, "laboratory": 2}


FLIPS = (
    "the animal misleads the method",
    "another animal was examined",
    "an examiner erred",
    "the species is not as held",
)
FOLLOWED, NOT_BLIND = "followed what was known", "followed, though said to be blind"
UNTRUE = "a report was untrue"


class Kind(NamedTuple):
    """A kind of check: how often it is made, by whom, at what stage."""

    method: Method
    share: float
    roles: tuple[Role, ...]
    stage: LifeStage = "adult"


KINDS = (
    Kind("probing", 0.55, ("keeper", "keeper", "keeper", "veterinarian")),
    Kind("eversion", 0.06, ("keeper",), "hatchling"),
    Kind("ultrasound", 0.1, ("veterinarian",)),
    Kind("dna", 0.06, ("laboratory",)),
    Kind("endoscopy", 0.03, ("veterinarian",)),
    Kind("visual", 0.08, ("keeper",)),
    Kind("statement", 0.12, ("keeper",)),
)


PROVING = tuple(one for one in KINDS if one.method in PROOFS)
COLLECTIONS = 150


class Examiner(NamedTuple):
    name: str
    role: Role
    error: float
    bias: int = 0


class Drawn(NamedTuple):
    """Animals with what they are, and examiners with how often they slip; ``causes`` says of each
    call what was in the way of what the animal is, empty where nothing was."""

    sexes: list[Sex]
    records: list[Record]
    examiners: dict[str, Examiner]
    causes: dict[str, tuple[str, ...]]


class Simulator:
    """Draws calls one by one, in the order in which the model thinks they come about."""

    def __init__(self, world: World, parameters: Parameters, rng: np.random.Generator) -> None:
        self.world = world
        self.parameters = parameters
        self.numbers = parameters.base
        self.rng = rng
        self.taxa = [taxon(key, parameters.version) for key in SPECIES]
        self.people = {role: self._people(role, count) for role, count in TRADES.items()}
        self._stops: dict[tuple[Taxon, Sex], np.ndarray] = {}
        self._causes: dict[str, tuple[str, ...]] = {}

    def draw(self, animals: int) -> Drawn:
        """So many animals with their calls."""
        self._causes = {}
        sexes = [SEXES[self.rng.integers(2)] for _ in range(animals)]
        records = [self._animal(n, sex) for n, sex in enumerate(sexes)]
        everyone = {one.name: one for own in self.people.values() for one in own}
        return Drawn(sexes, records, everyone, self._causes)

    def settled(self, animals: int) -> list[SettledAnimal]:
        """So many more, each settled by a proof that somebody confirmed."""
        return [self._settled(n, SEXES[self.rng.integers(2)]) for n in range(animals)]

    def _settled(self, number: int, sex: Sex) -> SettledAnimal:
        animal = self._drawn(number, sex)
        checks = tuple(animal.calls)
        while True:
            proof = self._call(animal, PROVING[self.rng.integers(len(PROVING))], 0.0, True)
            if proof.conclusion != "undetermined" and proof.identity == "confirmed":
                home = f"collection-{self.rng.integers(COLLECTIONS)}"
                return SettledAnimal(animal.kind.key, proof.conclusion, home, checks)

    def _people(self, role: Role, count: int) -> list[Examiner]:
        errors = self.rng.beta(*self.world.errors[role], size=count)
        biases = self.rng.normal(0, self.world.bias, size=count).round()
        found = zip(errors, biases, strict=True)
        return [Examiner(f"{role}-{n}", role, float(e), int(b)) for n, (e, b) in enumerate(found)]

    def _animal(self, number: int, sex: Sex) -> Record:
        animal = self._drawn(number, sex)
        return Record(tuple(animal.calls), animal.kind)

    def _drawn(self, number: int, sex: Sex) -> "_Animal":
        kind = self.taxa[self.rng.integers(len(self.taxa))]
        animal = _Animal(number, sex, kind, {}, [])
        shares = np.array([one.share for one in KINDS])
        for _ in range(min(1 + self.rng.poisson(2.0), 6)):
            what = KINDS[self.rng.choice(len(KINDS), p=shares / shares.sum())]
            animal.calls.append(self._call(animal, what))
        for _ in range(self.world.knowing):
            animal.calls.append(self._call(animal, KINDS[0], knows=1.0))
        return animal

    def _call(
        self, animal: "_Animal", what: Kind, knows: float = 0.3, confirmed: bool = False
    ) -> Evidence:
        role = what.roles[self.rng.integers(len(what.roles))]
        by = self.people[role][self.rng.integers(len(self.people[role]))]
        place = len(animal.calls)
        knew = animal.last() if self.rng.random() < knows else None
        read = self.rng.random() < 0.8
        blank = Evidence(
            call=f"{animal.number}-{place}",
            examiner=by.name,
            role=role,
            at=(1 + place) * 20 * DAY,
            position=animal.number * 10 + place,
            stage=what.stage,
            conclusion="undetermined",
            sureness="certain",
            observed=typical(what.method, "undetermined", animal.kind),
            identity="confirmed" if read else "unconfirmed",
            blind=knew is None,
            interested=bool(self.rng.random() < 0.2),
            anchored_to=knew,
            report="confirmed" if confirmed else self._report(what, role),
        )
        conclusion, observed = self._seen(animal, blank, by)
        return _with(blank, conclusion, observed)

    def _report(self, what: Kind, role: Role) -> Report:
        """Proofs come through somebody else; in a world of false ones nobody confirms them."""
        if what.method not in PROOFS or role == "keeper":
            return "own"
        if self.world.shared:
            return "confirmed" if self.rng.random() < 0.5 else "unconfirmed"
        return "confirmed" if self.world.false is None else "unconfirmed"

    def _seen(
        self, animal: "_Animal", call: Evidence, by: Examiner
    ) -> tuple[Conclusion, Observation]:
        if self.world.shared:
            return self._shown(animal, call, self._shared_picture(animal, call, by), by)
        swayed = call.anchored_to
        if swayed is None and self.rng.random() < self.world.hidden:
            swayed = animal.last()
        if swayed is not None and self.rng.random() < self._kappa(call, swayed):
            self._causes[call.call] = (FOLLOWED if call.anchored_to else NOT_BLIND,)
            return self._shown(animal, call, swayed, by)
        if call.report == "unconfirmed" and self.rng.random() < (self.world.false or 0.0):
            liked = animal.once(("liked", "any"), lambda: self.rng.random() < 0.5)
            self._causes[call.call] = (UNTRUE,)
            return self._shown(animal, call, SEXES[liked], by)
        share = self.numbers.get(f"error_share.{call.method}", 1.0)
        flips = (
            self._misled(animal, call.method),
            self._mixed_up(animal, call),
            self.rng.random() < by.error * share * self.world.by_sex[SEXES.index(animal.sex)],
        )
        return self._shown(animal, call, self._picture(animal, call, flips, FLIPS[:3]), by)

    def _picture(
        self, animal: "_Animal", call: Evidence, flips: Sequence[bool], names: Sequence[str]
    ) -> Sex:
        """The sex whose picture is seen, each flip showing the other one's."""
        self._causes[call.call] = tuple(n for n, one in zip(names, flips, strict=True) if one)
        return animal.sex if sum(flips) % 2 == 0 else other(animal.sex)

    def _shared_picture(self, animal: "_Animal", call: Evidence, by: Examiner) -> Sex:
        """Which sex's picture is seen, each error drawn once for all that share it."""
        once, chance = animal.once, lambda share: lambda: self.rng.random() < share
        false = self.numbers.get(shared_doubt(call), 0.0)
        # The formula lets a false report say what was said, whatever the sex: as if a share of
        # φ / (1 + φ) said the other one.
        if false and once(("false", str(call.interested)), chance(false / (1 + false))):
            self._causes[call.call] = (UNTRUE,)
            return other(animal.sex)
        kappa = anchoring(call, self.numbers)
        followed = chance(self.numbers.value("followed"))
        if call.anchored_to and kappa and (once(("followed", ""), followed) or chance(kappa)()):
            self._causes[call.call] = (FOLLOWED,)
            return call.anchored_to
        error = by.error * self.numbers.get(f"error_share.{call.method}", 1.0)
        error *= self.numbers.get(f"error_by_sex.{call.method}.{animal.sex}", 1.0)
        lasting = self.numbers.value("error.lasting_share")
        mistaken = self.numbers.value("report.mistaken") if call.report == "confirmed" else 0.0
        flips = (
            self._misled(animal, call.method),
            self._mixed_up(animal, call),
            once((by.name, call.method), chance(error * lasting))
            != chance(error * (1 - lasting) + mistaken)(),
            once(("species", call.method), chance(self._unlike(animal, call) / 2)),
        )
        return self._picture(animal, call, flips, FLIPS)

    def _unlike(self, animal: "_Animal", call: Evidence) -> float:
        """How often a species is not as what is held for it."""
        weigher = Weigher(animal.kind, EMPTY, self.parameters, self.numbers)
        return self.numbers.get(weigher.weigh(call).species, 0.0)

    def _kappa(self, call: Evidence, swayed: Sex) -> float:
        kappa = anchoring(_knowing(call, swayed), self.numbers)
        return self.world.follow if kappa and self.world.follow is not None else kappa

    def _misled(self, animal: "_Animal", method: Method) -> bool:
        rate = self.numbers.get(f"mislead.{method}.{animal.sex}", 0.0) * self.world.mislead
        if method == "probing" and animal.sex == "male":
            rate = max(rate, self.world.clench)
        return animal.once(("misled", method), lambda: self.rng.random() < rate)

    def _mixed_up(self, animal: "_Animal", call: Evidence) -> bool:
        if call.identity == "confirmed":
            return bool(self.rng.random() < self.world.mix_up / 2)
        rate = self.numbers.value("identity.unconfirmed")
        return animal.once(("mixed", call.method), lambda: self.rng.random() < rate)

    def _shown(
        self, animal: "_Animal", call: Evidence, picture: Sex, by: Examiner
    ) -> tuple[Conclusion, Observation]:
        kind = animal.kind
        if call.method == "probing":
            return self._probed(kind, call, picture, by)
        chances = []
        for sex in SEXES:
            found = _with(call, sex, typical(call.method, sex, kind))
            outcome = reading(found, kind, self.numbers)
            chances.append(exp(outcome.pair[SEXES.index(picture)]) if outcome.informative else 0.0)
        drawn = self.rng.random() * max(1.0, sum(chances))
        if drawn < chances[0]:
            return "male", typical(call.method, "male", kind)
        if drawn < sum(chances):
            return "female", typical(call.method, "female", kind)
        return "undetermined", call.observed

    def _probed(
        self, kind: Taxon, call: Evidence, picture: Sex, by: Examiner
    ) -> tuple[Conclusion, Observation]:
        odd = self.world.deeper if picture == "male" and kind.key == SPECIES[0] else 0
        depths = [min(max(half + by.bias + odd, 0), 60) for half in self._depths(kind, picture)]
        left, right = (f"{half / 2:g}" for half in depths)
        observed = Probing((Pass("left", left, "resistance"), Pass("right", right, "resistance")))
        for sex in SEXES:
            outcome = reading(_with(call, sex, observed), kind, self.numbers)
            if outcome.code != "conflict" and abs(log_ratio(outcome.pair)) > log(3):
                return sex, observed
        return "undetermined", observed

    def _depths(self, kind: Taxon, sex: Sex) -> tuple[int, int]:
        """Half scales on both sides: alike as often as the numbers say, each by its table."""
        if "sides.within" not in self.numbers.numbers:
            return self._depth(kind, sex), self._depth(kind, sex)
        within = 2 * self.numbers.value("sides.within")
        alike = self.rng.random() < self.numbers.value(f"sides.match.{sex}")
        while True:
            left, right = self._depth(kind, sex), self._depth(kind, sex)
            if (abs(left - right) <= within) == alike:
                return self._elsewhere(left), self._elsewhere(right)

    def _depth(self, kind: Taxon, sex: Sex) -> int:
        chances = self._stops.get((kind, sex))
        if chances is None:
            given = kind.depths(sex)
            assert given is not None  # noqa: S101 - the species above have ranges
            chances = np.exp(depth_table(given, self.numbers).stops).cumsum()
            self._stops[kind, sex] = chances
        return int(np.searchsorted(chances, self.rng.random() * chances[-1]))

    def _elsewhere(self, half_scales: int) -> int:
        """The depth in a world whose snakes probe otherwise than the books say."""
        if self.rng.random() < self.world.outlier:
            return int(self.rng.integers(61))
        return min(half_scales + self.world.shift, 60)


class _Animal(NamedTuple):
    number: int
    sex: Sex
    kind: Taxon
    fixed: dict[tuple[str, str], bool]
    calls: list[Evidence]

    def once(self, key: tuple[str, str], draw) -> bool:
        """What is drawn once for the animal and stays."""
        if key not in self.fixed:
            self.fixed[key] = bool(draw())
        return self.fixed[key]

    def last(self) -> Sex | None:
        conclusions = [call.conclusion for call in self.calls if call.conclusion != "undetermined"]
        return conclusions[-1] if conclusions else None


def _with(call: Evidence, conclusion: Conclusion, observed: Observation) -> Evidence:
    return Evidence(
        **{name: getattr(call, name) for name in _KEPT}, conclusion=conclusion, observed=observed
    )


def _knowing(call: Evidence, knew: Sex) -> Evidence:
    kept = {name: getattr(call, name) for name in Evidence.__struct_fields__}
    return Evidence(**(kept | {"blind": False, "anchored_to": knew}))


_KEPT = [n for n in Evidence.__struct_fields__ if n not in {"conclusion", "observed"}]
