"""What each check that can be made before pairing may say of a sex or of a claim, by the model."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping

from scalewitness.domain.genetics.traits import Genotype, Locus
from scalewitness.domain.season.check_first import FEMALE, MALE, CheckAnswer, PossibleCheck
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.sexing.feasible import Available, planning_number
from scalewitness.domain.sexing.planning import SETUP, every_check
from scalewitness.domain.sexing.weighing import Weighing


def checks_of_sex(weighing: Weighing, examiners: Iterable[Available]) -> Iterator[PossibleCheck]:
    """Every check of one animal that its condition, its age and its examiners allow, and that
    says something; what is then believed is what the record would hold."""
    known = {one.examiner: one for one in examiners}
    for check in every_check(weighing, known.values()).checks:
        by = known[check.examiner]
        branches = weighing.follow(check.method, by)
        standings = [(chance, case.standing(weighing.policy)) for chance, case in branches]
        yield PossibleCheck(
            animal=check.animal,
            method=check.method,
            examiner=check.examiner,
            answers=tuple(
                CheckAnswer(chance, {MALE: found.p_male, FEMALE: 1 - found.p_male})
                for chance, found in standings
            ),
            minutes=SETUP + check.minutes,
            money=by.cost * planning_number("price", "wrong_sex"),
            burden=check.burden,
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
