"""The snakes the model knows, by the sheet of its first two versions. That of the third has
``test_taxa_sources`` and ``test_taxa_counts``."""

from datetime import date
from decimal import Decimal

import pytest
from tests.domain.sexing.builders import BALL, CORN, SCRUB

from scalewitness.domain.sexing.parameters import VERSIONS
from scalewitness.domain.sexing.taxa import (
    UnknownSpecies,
    life_stage,
    range_parameters,
    species_list,
    taxon,
)

EARLIER = "sexing-2"


@pytest.mark.parametrize(
    ("species", "female", "male"),
    [
        # Published depths.
        ("python_regius", (2, 4), (8, 10)),  # Barker and Barker 2006
        ("simalia_amethistina", (6, 8), None),  # Australian Veterinary Association
        # Two popular pages disagree (2–3 and 6–9; 1–2 and 8–9): the envelope.
        ("boa_constrictor", (1, 3), (6, 9)),
        ("boa_imperator", (1, 3), (6, 9)),
        # The association's estimate for snakes in general (4; 10–12) inside textbook ranges.
        ("serpentes", (2, 6), (6, 14)),
        # From memory, low confidence.
        ("python_bivittatus", (3, 5), (10, 16)),
        ("malayopython_reticulatus", (3, 5), (10, 16)),
        ("morelia_spilota", (2, 4), (8, 12)),
        ("python_brongersmai", (3, 5), (8, 12)),
        ("pantherophis_guttatus", (2, 5), (8, 14)),
        ("heterodon_nasicus", (2, 4), (8, 12)),
        ("eryx_colubrinus", (1, 3), (5, 8)),
        ("crotalus_atrox", (2, 4), (8, 12)),
    ],
)
def test_ranges(species, female, male):
    kind = taxon(species, EARLIER)
    assert kind.female_range == female
    assert kind.male_range == male


@pytest.mark.parametrize(
    ("species", "system"),
    [
        ("boa_imperator", "XY"),  # Gamble et al. 2017
        ("python_bivittatus", "XY"),  # Gamble et al. 2017
        ("pantherophis_guttatus", "ZW"),  # caenophidians: Tawichasri et al. 2017
        ("sistrurus_catenatus", "ZW"),
        ("python_regius", "unknown"),  # no marker shown to work
        ("morelia_viridis", "unknown"),
    ],
)
def test_sex_systems(species, system):
    assert taxon(species, EARLIER).sex_system == system


def test_every_source_is_kept_and_disagreement_is_said():
    boa = taxon("boa_constrictor", EARLIER)
    assert [(s.female, s.male) for s in boa.sources] == [((2, 3), (6, 9)), ((1, 2), (8, 9))]
    assert boa.disputed
    assert not BALL.disputed
    assert not SCRUB.disputed


def test_the_status_is_that_of_the_weakest_source():
    assert BALL.status == "published"
    assert CORN.status == "from memory"
    assert taxon("serpentes", EARLIER).status == "from memory"


@pytest.mark.parametrize("kind", species_list(EARLIER), ids=lambda kind: kind.key)
def test_every_range_says_where_it_comes_from(kind):
    numbers = range_parameters(kind, "depth") + range_parameters(kind, "subcaudals")
    assert numbers
    for number in numbers:
        assert number.status in {"published", "from memory"}
        assert number.source or number.status == "from memory"
    assert kind.sex_system == "unknown" or kind.sex_system_source
    for given in (kind.female_range, kind.male_range):
        assert given is None or 0 <= given[0] <= given[1] <= 30


def test_massasauga_scale_counts():
    """Klauber, as reported by a zoo: males 25–33, females 19–29."""
    kind = taxon("sistrurus_catenatus", EARLIER)
    assert (kind.male_subcaudals, kind.female_subcaudals) == ((25, 33), (19, 29))


def test_the_list_is_by_common_name_with_the_unlisted_last():
    kinds = species_list()
    assert kinds[-1].key == "serpentes"
    names = [kind.common for kind in kinds[:-1]]
    assert names == sorted(names, key=str.lower)
    assert len({kind.key for kind in kinds}) == len(kinds) >= 18


@pytest.mark.parametrize("version", VERSIONS)
def test_a_species_that_is_listed_later_is_read_as_one_not_listed(version):
    listed = {kind.key for kind in species_list(version)}
    unlisted = taxon("serpentes", version)
    for kind in species_list(VERSIONS[-1]):
        found = taxon(kind.key, version)
        assert (found.common, found.scientific) == (kind.common, kind.scientific)
        if kind.key not in listed:
            assert (found.sources, found.sex_system) == (unlisted.sources, unlisted.sex_system)


@pytest.mark.parametrize("species", ["", "python", "Python regius", "../policy"])
def test_an_unknown_species_is_refused(species):
    with pytest.raises(UnknownSpecies):
        taxon(species)


@pytest.mark.parametrize(
    ("hatched", "grams", "stage"),
    [
        # Thresholds are common practice, no source.
        ("2025-05-01", None, "hatchling"),
        ("2025-04-02", None, "hatchling"),  # 60 days
        ("2025-04-01", None, "juvenile"),
        ("2022-06-03", None, "juvenile"),
        ("2022-06-02", None, "adult"),  # 1,095 days
        ("2022-06-03", "1200", "adult"),
        (None, "65", "hatchling"),
        (None, "120", "hatchling"),
        (None, "120.1", "juvenile"),
        (None, "1200", "adult"),
        (None, None, "unknown"),
        ("2025-06-02", None, "unknown"),  # hatched after the check
        ("2025-05-01", "700", "juvenile"),  # the older answer is taken
        ("2015-05-01", "80", "adult"),
    ],
)
def test_life_stages(hatched, grams, stage):
    born = date.fromisoformat(hatched) if hatched else None
    weight = Decimal(grams) if grams else None
    assert life_stage(BALL, born, date(2025, 6, 1), weight) == stage


def test_weight_says_nothing_of_a_species_not_listed():
    assert life_stage(taxon("serpentes"), None, date(2025, 6, 1), Decimal(40)) == "unknown"
