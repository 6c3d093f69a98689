"""The sheet of traits: everything in it says where it comes from, and holds together."""

import tomllib
from importlib.resources import files
from typing import get_args

import pytest
from tests.domain.genetics.families import made

from scalewitness.domain.genetics.traits import (
    WILD,
    Inheritance,
    UnknownLocus,
    loci_of,
    locus,
)
from scalewitness.domain.sexing.parameters import Status
from scalewitness.domain.sexing.taxa import species_list

SHEET = tomllib.loads(
    files("scalewitness.domain.genetics").joinpath("data", "traits.toml").read_text("utf-8")
)
EVERY = [one for kind in species_list() for one in loci_of(kind.key)]


def _tables(entry):
    yield entry
    for value in entry.values():
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict) and "words" not in inner:
                yield from _tables(inner)


def test_every_number_and_every_statement_has_a_status_and_what_is_published_a_source():
    entries = [*SHEET["locus"], *SHEET["numbers"].values()]
    for entry in [inner for one in entries for inner in _tables(one)]:
        assert entry["status"] in get_args(Status), entry
        if entry["status"] in ("published", "web page"):
            assert entry["source"], entry
        else:
            assert entry.get("source") or entry.get("note") or entry.get("caution"), entry


def test_every_species_is_known_and_no_locus_stands_twice():
    assert len(EVERY) == len(SHEET["locus"])
    names = [(one.species, one.key) for one in EVERY]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("one", EVERY, ids=lambda one: f"{one.species}-{one.key}")
def test_every_genotype_looks_like_something(one):
    assert one.inheritance in get_args(Inheritance)
    assert one.alleles[0] == WILD
    assert one.look((WILD, WILD)).key == WILD
    for genotype in one.genotypes:
        assert sum(genotype in look.genotypes for look in one.looks) == 1
        assert one.look(genotype).words
    if one.computed:
        assert len(one.looks) > 1
        assert sum(one.prior(genotype) for genotype in one.genotypes) == pytest.approx(1)
    for harm in one.harm:
        assert harm.genotypes <= set(one.genotypes)
        assert harm.caution.endswith(".")


def test_what_is_not_published_is_not_computed():
    unknown = {(one.species, one.key) for one in EVERY if not one.computed}
    assert ("python_regius", "ednrb") in unknown
    assert all(one.note for one in EVERY if not one.computed)


def test_the_sex_chromosomes_of_a_trait_are_those_of_its_species():
    glow = locus("python_regius", "coral_glow")
    assert (glow.system, glow.hemizygous) == ("XY", False)
    assert glow.sex_linkage.low < glow.sex_linkage.r < glow.sex_linkage.high


def test_what_the_sheet_does_not_have():
    assert loci_of("serpentes") == ()
    with pytest.raises(UnknownLocus):
        locus("python_regius", "no_such_trait")
    with pytest.raises(ValueError, match="looks of a must be said"):
        made(inheritance="allelic series")
