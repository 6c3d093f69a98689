"""Numbers learned from settled animals, put in their place."""

from decimal import Decimal
from itertools import product

from tests.domain.sexing.builders import call

from scalewitness.domain.observations import Dna, Endoscopy, Parentage, Reproduction
from scalewitness.domain.sexing.case import case_of
from scalewitness.domain.sexing.labels import is_decisive
from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import taxon

THIRD = load_parameters("sexing-3")
CLENCH = LearnedNumber(
    "mislead.probing.male", Decimal("0.0213"), Decimal("0.014"), Decimal("0.031"), 400, 380, 90, 31
)


def test_a_learned_number_takes_its_place_with_where_it_comes_from():
    found = with_learned(THIRD, [CLENCH], "numbers-17")
    assert (found.version, found.learned) == ("sexing-3", "numbers-17")
    assert found.base.value("mislead.probing.male") == 0.0213
    assert found.pessimistic.value("mislead.probing.male") == 0.031, "the worse end"
    assert found.base.numbers["mislead.probing.male"].status == "learned here"
    assert "400 males and 380 females" in found.base.numbers["mislead.probing.male"].source
    assert found.base.value("mislead.probing.female") == 0.002, "all else as it was"
    assert with_learned(THIRD, [CLENCH], "numbers-17") is found


def test_nothing_learned_changes_nothing():
    assert learn([], THIRD) == ()
    assert with_learned(THIRD, ()) is THIRD


PROOFS = (
    ("female", Endoscopy("ovaries"), "veterinarian"),
    ("female", Reproduction("laid_eggs", True), "keeper"),
    ("female", Reproduction("laid_eggs", False), "keeper"),  # settles nothing by any numbers
    ("male", Dna("XY", "shed", "heterogametic"), "laboratory"),
    ("male", Parentage("sire", 4, True, True, True), "laboratory"),
    ("male", Parentage("sire", 4, True, True, False), "laboratory"),
)


def test_whom_a_proof_settles_hangs_on_nothing_learned():
    """Else mistaken numbers would choose the animals that examiners' records count, and that the
    next numbers are learned from."""
    methods = ("endoscopy", "reproduction", "dna", "parentage")
    roles = ("keeper", "veterinarian", "laboratory")
    mistaken = with_learned(
        THIRD,
        [
            LearnedNumber(name, Decimal("0.4"), Decimal("0.3"), Decimal("0.5"), 40, 40, 9, 9)
            for role, method, sex in product(roles, methods, ("male", "female"))
            for name in (f"error.{role}.{method}.{sex}", f"mislead.{method}.{sex}")
        ],
    )

    def settled(numbers):
        kind = taxon("python_bivittatus")
        calls = [call(sex, seen, role=role, report="confirmed") for sex, seen, role in PROOFS]
        each = [case_of([one], kind, EMPTY, numbers).base.weighed[0] for one in calls]
        return [is_decisive(one, DEFAULT_POLICY) for one in each]

    assert settled(mistaken) == settled(THIRD) == [True, True, False, True, True, False]
