"""When a claim falls: by proof of both parents, and never because a trait is rare. The chances are
worked out by hand."""

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest

from scalewitness.domain.genetics.falling import FALLS_AT, Kin, chance_of_claim, may_fall
from scalewitness.domain.genetics.stated import Basis, Says, Statement
from scalewitness.domain.genetics.traits import locus

ALBINO = locus("python_regius", "albino")
CORAL = locus("python_regius", "coral_glow")


def stated(says: Says, basis: Basis = "dna", key: str = "albino", n: int = 1) -> Statement:
    return Statement(
        UUID(int=n), n, UUID(int=9), UUID(int=8), datetime(2026, 11, 1, tzinfo=UTC),
        says, basis, locus=key,
    )  # fmt: skip


def chance(claim: Statement, *of: list[Statement], in_locus: Any = ALBINO) -> float:
    """``of``: what was stated of the young, its sire and its dam."""
    named = zip(("y", "s", "d"), (0.5, 1.0, 0.0), of, strict=True)
    found = chance_of_claim(claim, in_locus, *(Kin(*one) for one in named))
    assert found is not None
    return found


HET = stated("carries_one", "claimed", n=7)


def test_with_nothing_known_every_allele_is_as_likely() -> None:
    assert chance(HET, [], [], []) == pytest.approx(1 / 2)
    assert chance(HET, [HET], [], []) == pytest.approx(1 / 2), "a claim is no evidence for itself"


def test_two_tested_parents_make_it_fall() -> None:
    """Of 1000 that carry it 1 is missed, so a parent carries one copy with 2/1000, two with 1/1000
    of what a plain one has; it gives it with 2/1000, and one of the two does with twice that."""
    none = stated("carries_none")
    found = chance(HET, [], [none], [none])
    carries = 0.25 * 0.001, 0.5 * 0.001, 0.25
    gives = (carries[0] + carries[1] / 2) / sum(carries)
    assert found == pytest.approx(2 * gives * (1 - gives))
    assert found <= FALLS_AT


def test_one_tested_parent_leaves_half() -> None:
    assert chance(HET, [], [stated("carries_none")], []) == pytest.approx(1 / 2, abs=0.001)


def test_plain_looks_of_both_leave_plenty() -> None:
    plain = stated("does_not_show", "seen")
    assert chance(HET, [], [plain], [plain]) > 0.3


def test_an_albino_dam_keeps_it_up_whatever_the_sire_is() -> None:
    albino, none = stated("shows", "seen"), stated("carries_none")
    assert chance(HET, [], [none], [albino]) > 0.9


def test_two_albino_parents_have_no_young_with_one_copy() -> None:
    two = stated("carries_two")
    assert chance(HET, [], [two], [two]) <= FALLS_AT


def test_the_animals_own_result_speaks_for_it() -> None:
    none, own = stated("carries_none"), stated("carries_one", n=3)
    assert chance(HET, [own], [none], [none]) > FALLS_AT


def test_a_locus_that_goes_with_sex_is_judged_too() -> None:
    claim = stated("carries_one", "claimed", "coral_glow")
    none = stated("carries_none", key="coral_glow")
    assert chance(claim, [], [none], [none], in_locus=CORAL) <= FALLS_AT


def test_a_chance_sold_and_what_is_not_computed_cannot_fall() -> None:
    assert may_fall(HET, ALBINO)
    assert not may_fall(stated("may_carry", "claimed"), ALBINO)
    assert not may_fall(HET, None)
    assert not may_fall(HET, locus("python_regius", "axanthic_other"))
