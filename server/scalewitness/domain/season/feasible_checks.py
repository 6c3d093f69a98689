"""What each check that can be made before pairing may say of a sex or of a claim, by the model."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from msgspec.structs import replace

from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.domain.season.check_first import FEMALE, MALE, CheckAnswer, PossibleCheck
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.sexing.feasible import Available, planning_number
from scalewitness.domain.sexing.planning import SETUP, Check, every_check
from scalewitness.domain.sexing.weighing import Branch, Weighing

ANOTHER: Final = " another"


def checks_of_sex(weighing: Weighing, examiners: Iterable[Available]) -> Iterator[PossibleCheck]:
    """Every check of one animal that its condition, its age and its examiners allow, and that
    says something; what is then believed is what the record would hold. By whoever may come, also
    twice, each time by another: one check alone may be too weak to change a plan."""
    known = {one.examiner: one for one in examiners}
    for check in every_check(weighing, known.values()).checks:
        by = known[check.examiner]
        once = weighing.follow(check.method, by)
        yield _check_of_sex(weighing, check, by, once)
        if by.anyone:
            other = replace(by, examiner=by.examiner + ANOTHER)
            twice = [
                (chance * next_chance, then)
                for chance, case in once
                for next_chance, then in weighing.after(
                    case, weighing.candidate, weighing.at
                ).follow(check.method, other)
            ]
            yield _check_of_sex(weighing, check, by, twice, times=2)


def _check_of_sex(
    weighing: Weighing, check: Check, by: Available, branches: Iterable[Branch], times: int = 1
) -> PossibleCheck:
    standings = [(chance, case.standing(weighing.policy)) for chance, case in branches]
    return PossibleCheck(
        animal=check.animal,
        method=check.method,
        examiner=check.examiner,
        answers=tuple(
            CheckAnswer(chance, {MALE: found.p_male, FEMALE: 1 - found.p_male})
            for chance, found in standings
        ),
        times=times,
        minutes=times * (SETUP + check.minutes),
        money=times * by.cost * planning_number("price", "wrong_sex"),
        burden=times * check.burden,
    )


def checks_of_claims(scenarios: Scenarios, animal: str, laboratory: str) -> Iterator[PossibleCheck]:
    """A DNA test of each locus at which it is not sure what the animal carries, where a gene is
    known to test. Raises KeyError for an animal that is not in the season."""
    loci = {one.key: one for one in scenarios.season.loci}
    for key in sorted({key for keys in scenarios.bearing.values() for key in keys}):
        times = Counter(one for one in scenarios.genotypes(animal, key) if one is not None)
        chances = {one: n / times.total() for one, n in sorted(times.items())}
        if len(chances) > 1 and loci[key].gene:
            yield PossibleCheck(
                animal=animal,
                method="dna",
                examiner=laboratory,
                answers=tuple(_answers(loci[key], chances)),
                locus=key,
                minutes=SETUP + planning_number("minutes", "dna"),
                money=planning_number("price", "laboratory"),
                burden=planning_number("burden", "dna"),
            )


def _answers(locus: Locus, chances: Mapping[Genotype, float]) -> Iterator[CheckAnswer]:
    """Each genotype that may be reported, wrong at the locus's rate for any one other."""
    wrong = locus.number("dna_missed")
    for reported in chances:
        joint: defaultdict[Genotype, float] = defaultdict(float)
        for one, p in chances.items():
            joint[one] += p * (1 - wrong * (len(chances) - 1) if one == reported else wrong)
        whole = sum(joint.values())
        yield CheckAnswer(whole, {one: p / whole for one, p in joint.items()})
