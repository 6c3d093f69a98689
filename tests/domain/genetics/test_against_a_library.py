"""Random pedigrees, equal to pgmpy: tests/vectors/genotypes_pgmpy.json, made by
deploy/bench/genotypes_peer.py from networks of alleles where ours are of genotypes."""

import json
from pathlib import Path

import pytest
from tests.domain.genetics.families import XY, ZW, made

from scalewitness.domain.genetics.arrays import ARRAYS
from scalewitness.domain.genetics.carried import carried_at
from scalewitness.domain.genetics.pedigree import Member, Parthenogenesis, Pedigree
from scalewitness.domain.genetics.tables import PLAIN

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "genotypes_pgmpy.json").read_text("utf-8")
)
CASES = VECTORS["pedigrees"]
ALLELES = ("wild", "a", "b")


def _locus(row, following):
    """In the sheet's words; a linked pair's fraction stands at the first of the two."""
    more = {}
    if row["system"]:
        more["species"] = {"XY": XY, "ZW": ZW}[row["system"]]
        if row["to_sex"] is None:
            more["on_sex_chromosome"] = True
        else:
            r = row["to_sex"]
            more["sex_linkage"] = {"value": r, "low": r, "high": r, "status": "our judgement"}
    if following is not None and following["linked"] is not None:
        more["neighbour"] = {
            "key": following["key"],
            "value": following["linked"],
            "status": "our judgement",
        }
    if row["alleles"] > 2:
        more["looks"] = [
            {"key": "a", "words": "a", "genotypes": ["a/a"]},
            {"key": "b", "words": "b", "genotypes": ["b/b"]},
        ]
    return made(
        row["key"],
        alleles=ALLELES[1 : row["alleles"]],
        inheritance="allelic series" if row["alleles"] > 2 else "recessive",
        numbers={"frequency": row["frequency"]},
        **more,
    )


def _genotype(name):
    return tuple(ALLELES[int(one)] for one in name.split("/"))


def _named(chances):
    return {_genotype(name): p for name, p in chances.items()}


def _member(row):
    alone = row["alone"]
    return Member(
        row["id"],
        row["male"],
        row["sires"],
        row["dams"],
        Parthenogenesis(*alone) if alone else None,
        {at: _named(likelihoods) for at, likelihoods in row["evidence"].items()},
    )


def test_there_are_as_many_as_are_claimed_and_of_every_sort():
    assert len(CASES) == 200
    loci = [one for case in CASES for one in case["loci"]]
    members = [one for case in CASES for one in case["members"]]
    for few in (
        [one for one in loci if one["system"] == "XY" and one["to_sex"] is None],
        [one for one in loci if one["system"] == "ZW" and one["to_sex"] is not None],
        [one for one in loci if one["linked"] is not None],
        [one for one in members if one["alone"]],
        [one for one in members if len(one["sires"]) > 1],
        [one for one in members if set(one["sires"]) & set(one["dams"])],
    ):
        assert len(few) >= 10


@pytest.mark.parametrize(("tables", "every"), [(PLAIN, 1), (ARRAYS, 4)], ids=["plain", "arrays"])
def test_every_genotype_of_every_animal(tables, every):
    for number, case in list(enumerate(CASES))[::every]:
        rows = case["loci"]
        loci = [_locus(row, after) for row, after in zip(rows, [*rows[1:], None], strict=True)]
        found = carried_at(Pedigree(map(_member, case["members"])), loci, tables)
        assert not found.apart
        for at, animals in case["expected"].items():
            for one, chances in animals.items():
                wanted = dict.fromkeys(found.chances[at][one], 0.0) | _named(chances)
                given = {genotype: found.chances[at][one].get(genotype, 0.0) for genotype in wanted}
                near = pytest.approx(wanted, abs=VECTORS["tolerance"], rel=0)
                assert given == near, (number, at, one)
