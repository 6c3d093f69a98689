"""Genotypes and chances in the words of the trade."""

import pytest

from scalewitness.domain.genetics.trade_words import (
    chance_in_words,
    genotype_in_words,
    look_in_words,
    shorthand,
)
from scalewitness.domain.genetics.traits import Genotype, locus, read_locus

ALBINO = locus("python_regius", "albino")
SPIDER = locus("python_regius", "spider")
MOTLEY = locus("pantherophis_guttatus", "clcn2")
ON_Z = read_locus(
    {
        "species": "pantherophis_guttatus",
        "key": "pale",
        "name": "pale",
        "alleles": ["pale"],
        "inheritance": "recessive",
        "status": "our judgement",
        "on_sex_chromosome": True,
    },
    {"frequency": {"value": 0.001, "status": "our judgement"}},
)
"""No published trait of a snake lies on the Z alone: one made up."""


@pytest.mark.parametrize(
    ("at", "genotype", "words"),
    [
        (ALBINO, ("wild", "wild"), "no copy"),
        (ALBINO, ("wild", "albino"), "het albino"),
        (ALBINO, ("albino", "albino"), "albino, two copies"),
        (SPIDER, ("wild", "spider"), "spider, one copy"),
        (MOTLEY, ("motley", "stripe"), "motley and stripe"),
        (ON_Z, ("pale",), "pale, on the one such chromosome"),
        (ON_Z, ("wild",), "no copy"),
    ],
)
def test_a_genotype_is_named_as_keepers_do(at: object, genotype: Genotype, words: str) -> None:
    assert genotype_in_words(at, genotype) == words  # type: ignore[arg-type]


def test_a_look_is_named_by_what_it_lacks_where_it_is_the_plain_one() -> None:
    assert look_in_words(ALBINO, "wild") == "not albino"
    assert look_in_words(ALBINO, "albino") == "albino"


@pytest.mark.parametrize(
    ("het", "shown", "words"),
    [
        (2 / 3, 0.0, "66 % het albino"),
        (0.66, 0.001, "66 % het albino"),
        (0.5, 0.0, "50 % het albino"),
        (1.0, 0.0, "100 % het albino"),
        (0.6, 0.0, ""),
        (0.0, 0.0, ""),
        (0.5, 0.25, ""),
    ],
)
def test_the_shorthand_is_of_plain_animals_at_three_chances(
    het: float, shown: float, words: str
) -> None:
    """2/3 of plain young of two carriers, 1/2 of those of a carrier and one without (Mendel)."""
    chances = {
        ("wild", "wild"): 1 - het - shown,
        ("wild", "albino"): het,
        ("albino", "albino"): shown,
    }
    assert shorthand(ALBINO, chances) == words


def test_of_a_dominant_there_is_no_het_to_be_sold() -> None:
    assert shorthand(SPIDER, {("wild", "wild"): 0.5, ("wild", "spider"): 0.5}) == ""


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "cannot be"),
        (0.001, "less than 1 in 100"),
        (0.664, "66 in 100"),
        (0.9949, "99 in 100"),
        (0.9999, "more than 99 in 100"),
        (1.0, "certain"),
    ],
)
def test_a_chance_is_never_told_surer_than_it_is(chance: float, words: str) -> None:
    assert chance_in_words(chance) == words
