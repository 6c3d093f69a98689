"""The species of sexing-3: each figure as its source gives it, each status by rule."""

import re

import pytest
from tests.domain.sexing.builders import invented

from scalewitness.domain.sexing.linked_trait import linked_traits
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import read_taxa, taxon

TAXA = read_taxa(table("sexing-3", "taxa.toml"), "sexing-3")
KINDS = TAXA.values()

AVA = "Australian Veterinary Association"
GENERAL = "snakes in general"


@pytest.mark.parametrize(
    ("species", "source", "female", "male", "status"),
    [
        ("python_regius", "Barker and Barker 2006", (2, 4), (8, 10), "published"),
        ("simalia_amethistina", AVA, (6, 8), None, "published"),
        ("boa_constrictor", "enviroliteracy.org", (2, 3), (6, 9), "web page"),
        ("boa_constrictor", "ehow.co.uk", (1, 2), (8, 9), "web page"),
        ("boa_imperator", "xzhbc.com", (1, 2), (8, 9), "web page"),
        ("epicrates_cenchria", "angelfire.com", (2, 4), (8, 12), "web page"),
        ("thamnophis_sirtalis", "gartersnake.co.uk", (2, 2), None, "web page"),
        ("serpentes", AVA, (4, 4), (10, 12), "published"),
        ("serpentes", "Vetpedia", (1, 4), (8, 16), "web page"),
        ("serpentes", "zooniverse.dk", (2, 4), (8, 12), "web page"),
        ("serpentes", "kacongreptil", (2, 3), (10, 12), "web page"),
    ],
)
def test_depths_are_those_of_the_source(species, source, female, male, status):
    (one,) = [one for one in TAXA[species].sources if one.source.startswith(source)]
    assert (one.female, one.male, one.status) == (female, male, status)


GROUNDS = {
    "published": "python_regius",
    "web page": "boa_constrictor boa_imperator epicrates_cenchria",
    "from memory": """python_bivittatus malayopython_reticulatus python_brongersmai morelia_spilota
        pantherophis_guttatus pantherophis_obsoletus lampropeltis_getula lampropeltis_triangulum
        heterodon_nasicus""",
    None: "simalia_amethistina",
}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_what_the_depths_rest_on(kind):
    """The best source of each sex, the worse of the two; borrowed wherever nothing is said."""
    given = {key: ground for ground, keys in GROUNDS.items() for key in keys.split()}
    assert kind.ground == given.get(kind.key, "in general")


@pytest.mark.parametrize(
    ("female", "male", "ground"),
    [
        ("published", "published", "published"),
        ("published", "web page", "web page"),
        ("from memory", "web page", "from memory"),
        ("published", "common practice", "from memory"),
        ("published, of a relative", "published", "in general"),
        ("published", None, None),
        ("web page; published", "published; from memory", "published"),
    ],
)
def test_the_ground_is_the_worse_of_the_best(female, male, ground):
    kind = invented(depths=[*_rows("female", female), *_rows("male", male)])
    assert kind.ground == ground


def _rows(sex, statuses):
    for one in (statuses or "").split("; "):
        status, _, relative = one.partition(", ")
        if status:
            yield {sex: [2, 4], "source": "", "status": status, "about": relative}


def _sourced(kind):
    yield from kind.sources
    yield from kind.counts
    if kind.marker:
        yield kind.marker


NAMED = re.compile(r"[A-Z]\w+.*(\b(1[89]|20)\d\d\b|\bp\. \d+)")
"""An author or an institution, and a year or a page."""


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_a_status_is_what_its_source_allows(kind):
    for one in _sourced(kind):
        assert one.status in {"published", "web page", "from memory"}, one
        if one.status == "published":
            assert NAMED.search(one.source), one
        if one.status == "from memory":
            assert not one.source or one.source.startswith("reptile medicine textbooks"), one
        else:
            assert one.source, one
        assert "web page" not in one.source, one


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_what_is_borrowed_says_of_whom(kind):
    of_all = [one for one in kind.sources if one.about == GENERAL]
    assert kind.key != "serpentes" or len(of_all) == len(kind.sources)
    for one in kind.sources:
        assert one.about or "in general" not in one.source + one.note, one
        assert one.about != kind.scientific, one


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
def test_sex_chromosomes_say_whose_they_are(kind):
    if kind.sex_system == "unknown":
        assert kind.sex_system_level is kind.marker is None
        return
    assert kind.sex_system_level in {"species", "genus", "family"}
    assert kind.sex_system_status == "published"
    assert NAMED.search(kind.sex_system_source)
    assert kind.marker is None or kind.sex_system_level == "species"


@pytest.mark.parametrize(
    ("species", "system", "level", "tested", "settles"),
    [
        # Gamble et al. 2017: a restriction assay male-specific in 12 males and 12 females.
        ("python_bivittatus", "XY", "species", (12, 12), True),
        # The same study: "male-biased", so not of one sex only.
        ("boa_imperator", "XY", "species", (19, 22), False),
        ("boa_constrictor", "XY", "species", (3, 3), False),
        # Mallery and Carrillo 2016: a trait inherited with sex, no marker.
        ("python_regius", "XY", "species", None, False),
        # Charvát et al. 2022 speak of the genus Python.
        ("python_brongersmai", "XY", "genus", None, False),
        # Katz et al. 2020: unambiguous in all; how many is not in what could be read.
        ("pituophis_ruthveni", "ZW", "species", (None, None), True),
        # Caenophidians at large; the list of those tested could not be read.
        ("pantherophis_guttatus", "ZW", "family", None, False),
        ("crotalus_atrox", "ZW", "family", None, False),
        # Mengden and Stock 1980: Z and W differ under the microscope.
        ("acrantophis_dumerili", "ZW", "species", None, False),
        ("morelia_viridis", "unknown", None, None, False),
        ("serpentes", "unknown", None, None, False),
    ],
)
def test_what_a_marker_allows(species, system, level, tested, settles):
    kind = TAXA[species]
    assert (kind.sex_system, kind.sex_system_level) == (system, level)
    marker = kind.marker
    assert (marker and (marker.males, marker.females)) == tested
    assert kind.marker_settles == settles


@pytest.mark.parametrize(("level", "settles"), [("species", True), ("genus", False)])
def test_a_marker_of_a_relative_settles_nothing(level, settles):
    marker = {"name": "M", "one_sex_only": True, "source": "", "status": "published", "note": ""}
    assert invented(sex_system_level=level, marker=marker).marker_settles == settles


def test_nothing_known_of_sex_chromosomes_is_nothing_published():
    assert TAXA["morelia_viridis"].sex_system_status == "our judgement"


def test_traits_linked_to_sex_and_dna_rest_on_one_statement():
    """What is said of Python regius is inferred from that very trait."""
    for trait in linked_traits().values():
        assert trait.system == TAXA[trait.species].sex_system, trait.key
        assert "Mallery and Carrillo 2016" in trait.source
        assert "Mallery and Carrillo 2016" in TAXA[trait.species].sex_system_source
    assert linked_traits()["coral_glow"].system == "XY"


def test_the_species_of_earlier_versions_are_all_there_with_their_life_stages():
    earlier = {row["key"]: row for row in table("sexing-1", "taxa.toml")["taxon"]}
    for key in earlier:
        was, now = taxon(key, "sexing-1"), TAXA[key]
        assert (was.scientific, was.common, was.stages) == (now.scientific, now.common, now.stages)
    assert table("sexing-1", "taxa.toml")["stages"] == table("sexing-3", "taxa.toml")["stages"]


def test_earlier_versions_say_nothing_of_what_they_did_not_know():
    for row in table("sexing-1", "taxa.toml")["taxon"]:
        kind = taxon(row["key"], "sexing-1")
        assert kind.sex_system_level is kind.marker is None
        assert not any(one.about or one.status == "web page" for one in kind.sources)
        assert bool(kind.counts) == bool(row.get("subcaudals"))
        assert [one.source for one in kind.sources] == [one["source"] for one in row["depths"]]


def test_every_number_is_plausible():
    for kind in KINDS:
        for one in kind.counts:
            most = 1 if one.character.startswith("tail") else 300
            for spread in filter(None, (one.female, one.male)):
                ends = spread.ends or (spread.mean, spread.mean)
                assert 0 < ends[0] <= (spread.mean or ends[0]) <= ends[1] < most, (kind.key, one)
                assert spread.ends or spread.mean, (kind.key, one)
                assert spread.n is None or spread.n > 2
        for given in (kind.female_range, kind.male_range):
            assert given is None or 0 < given[0] <= given[1] <= 16
        assert (kind.female_subcaudals, kind.male_subcaudals) == tuple(
            kind.span("subcaudals", sex) for sex in ("female", "male")
        )
