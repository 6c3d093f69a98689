"""Counts and proportions by sex of sexing-3: each as its source gives it, and where the sexes
overlap, silence."""

from decimal import Decimal

import pytest
from tests.domain.sexing.builders import invented

from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import read_taxa

TAXA = read_taxa(table("sexing-3", "taxa.toml"), "sexing-3")

# taxon                  character   source                    females   males     animals
GIVEN = """
heterodon_nasicus        subcaudals  Walley and Eckerman 1999  26-41     35-50
heterodon_nasicus        ventrals    Walley and Eckerman 1999  139-156   129-147
lampropeltis_californiae subcaudals  Pyron and Burbrink 2009   44-57     46-63
lampropeltis_splendida   subcaudals  Pyron and Burbrink 2009   40-52     45-62
lampropeltis_splendida   ventrals    Pyron and Burbrink 2009   203-237   199-227
lampropeltis_holbrooki   subcaudals  Reptile Database          37-51     46-59
pituophis_lineaticollis  subcaudals  Duellman 1960             55-68     54-72     9/13
thamnophis_sirtalis      subcaudals  Smith 1961                61-74     70-82     54/38
thamnophis_sirtalis      ventrals    Smith 1961                147-165   150-163
thamnophis_exsul         subcaudals  Reptile Database          52-56     63-65
thamnophis_exsul         ventrals    Reptile Database          142-150   152-156
nerodia_erythrogaster    subcaudals  McCranie 1990             59-79     67-90
nerodia_sipedon          subcaudals  Smith 1961                60-66     69-78     11/9
virginia_striatula       subcaudals  Powell et al. 1994        29-45     26-50
virginia_striatula       ventrals    Powell et al. 1994        120-139   112-132
sistrurus_catenatus      subcaudals  Klauber 1972              19-29     25-33
sistrurus_catenatus      subcaudals  Smith 1961                22-29     27-31     10/8
sistrurus_catenatus      ventrals    Smith 1961                138-151   138-145
crotalus_horridus        subcaudals  Smith 1961                19-23     21-30     15/14
crotalus_horridus        subcaudals  encyclopaedia             15-26     20-30
crotalus_horridus        ventrals    Smith 1961                163-178   162-174
crotalus_durissus        subcaudals  McCranie 1993             18-31     22-34
agkistrodon_contortrix   subcaudals  encyclopaedia             37-57     38-62
agkistrodon_piscivorus   subcaudals  encyclopaedia             36-50     38-54
agkistrodon_piscivorus   ventrals    encyclopaedia             128-144   130-145
bothrops_atrox           subcaudals  Campbell and Lamar 2004   47-72     52-86
bothrops_atrox           ventrals    Campbell and Lamar 2004   177-214   169-214
bothriechis_schlegelii   ventrals    Arteaga et al. 2024       135-153   139-156
trimeresurus_albolabris  subcaudals  encyclopaedia             49-66     60-72
trimeresurus_albolabris  ventrals    encyclopaedia             152-176   155-166
tropidolaemus_wagleri    subcaudals  Vogel et al. 2007         45-54     50-55
tropidolaemus_wagleri    ventrals    Vogel et al. 2007         134-147   143-152
vipera_berus             subcaudals  ya.ru                     23-38     32-46
vipera_ammodytes         subcaudals  encyclopaedia             24-38     27-46
vipera_ammodytes         ventrals    encyclopaedia             135-164   133-161
bitis_arietans           subcaudals  encyclopaedia             14-24     -
bitis_nasicornis         subcaudals  Mallow et al. 2003        16-19     25-30
micrurus_fulvius         subcaudals  encyclopaedia             30-37     40-47
micrurus_fulvius         ventrals    encyclopaedia             219-233   197-217
"""


def _rows():
    for line in GIVEN.strip().splitlines():
        species, character, source, rest = line[:25], line[25:37], line[37:63], line[63:].split()
        yield species.strip(), character.strip(), source.strip(), *rest


@pytest.mark.parametrize(
    "row", list(_rows()), ids=lambda row: f"{row[0]} {row[1]} {row[2].split()[0]}"
)
def test_counts_are_those_of_the_source(row):
    species, character, source, female, male, *animals = row
    (one,) = [one for one in TAXA[species].counted(character) if one.source.startswith(source)]
    assert (_ends(one.female), _ends(one.male)) == (female, male)
    assert (_n(one.female), _n(one.male)) == tuple(animals[0].split("/") if animals else "--")


def _ends(spread):
    return "-" if spread is None else "{}-{}".format(*spread.ends)


def _n(spread):
    return "-" if spread is None or spread.n is None else str(spread.n)


@pytest.mark.parametrize(
    ("species", "character", "female", "male"),
    [
        # Hardy and Cole 1968, one locality: standard errors 0.39 (79 females), 0.28 (109 males).
        ("tantilla_gracilis", "ventrals_less_subcaudals", ("88.8", "3.47"), ("73.8", "2.92")),
        # Acta Herpetologica 2021: females have the longer tails.
        ("dolichophis_caspius", "tail_over_total", ("0.274", "0.02"), ("0.257", "0.02")),
        # Averages without a spread: a student essay; an encyclopaedia.
        ("heterodon_nasicus", "tail_over_body", ("0.14", None), ("0.22", None)),
        ("bitis_gabonica", "tail_over_total", ("0.06", None), ("0.12", None)),
    ],
)
def test_means_and_deviations_are_those_of_the_source(species, character, female, male):
    (one,) = TAXA[species].counted(character)
    for spread, (mean, deviation) in ((one.female, female), (one.male, male)):
        assert spread.mean == Decimal(mean)
        assert (spread.deviation and f"{spread.deviation:.2f}") == deviation


@pytest.mark.parametrize(
    ("species", "female", "male"),
    [
        # Duellman 1960, table 1: deppei, then jani.
        ("pituophis_deppei", ["57.2 16", "56.0 3"], ["61.5 34", "62.6 12"]),
        ("pituophis_lineaticollis", ["60.6 9"], ["64.9 13"]),
    ],
)
def test_means_of_subcaudals(species, female, male):
    given = TAXA[species].counted("subcaudals")
    assert [f"{one.female.mean} {one.female.n}" for one in given] == female
    assert [f"{one.male.mean} {one.male.n}" for one in given] == male


@pytest.mark.parametrize(
    ("species", "character", "female", "male"),
    [
        # Fitch 1963, from hatching to young adult, of the length from snout to vent.
        ("coluber_constrictor", "tail_over_body", ("0.26", "0.28"), ("0.28", "0.31")),
        ("virginia_striatula", "tail_over_total", ("0.14", "0.195"), ("0.185", "0.23")),
        ("thamnophis_exsul", "tail_over_total", ("0.189", "0.200"), ("0.218", "0.222")),
    ],
)
def test_tails_are_those_of_the_source(species, character, female, male):
    assert TAXA[species].span(character, "female") == tuple(map(Decimal, female))
    assert TAXA[species].span(character, "male") == tuple(map(Decimal, male))


def test_at_least_eight_taxa_have_published_subcaudals_of_both_sexes():
    found = {
        kind.key
        for kind in TAXA.values()
        for one in kind.counted("subcaudals")
        if one.status == "published" and one.female and one.male
    }
    assert len(found) == 15


def test_several_sources_make_one_span():
    """Smith 1961 found 19 to 23 in females of Illinois; the whole range has 15 to 26."""
    assert TAXA["crotalus_horridus"].span("subcaudals", "female") == (15, 26)
    assert TAXA["crotalus_horridus"].span("subcaudals", "male") == (20, 30)


@pytest.mark.parametrize(
    ("species", "character", "value", "sex"),
    [
        ("heterodon_nasicus", "subcaudals", 34, "female"),
        ("heterodon_nasicus", "subcaudals", 35, None),
        ("heterodon_nasicus", "subcaudals", 41, None),
        ("heterodon_nasicus", "subcaudals", 42, "male"),
        ("heterodon_nasicus", "subcaudals", 51, None),  # beyond both
        ("heterodon_nasicus", "ventrals", 138, "male"),
        ("micrurus_fulvius", "ventrals", 218, None),  # between the two
        ("micrurus_fulvius", "ventrals", 219, "female"),
        ("agkistrodon_contortrix", "subcaudals", 37, "female"),
        ("agkistrodon_contortrix", "subcaudals", 57, None),
        # One span holds the other: fewer subcaudals than any female is no sign of a male.
        ("virginia_striatula", "subcaudals", 27, None),
        ("pituophis_lineaticollis", "subcaudals", 54, None),
        ("thamnophis_sirtalis", "ventrals", 148, None),
        # One sex only, averages only, nothing at all, or alike in both.
        ("bitis_arietans", "subcaudals", 30, None),
        ("bitis_gabonica", "tail_over_total", 0, None),
        ("python_regius", "subcaudals", 30, None),
        ("lampropeltis_holbrooki", "ventrals", 200, None),
    ],
)
def test_a_count_tells_only_where_one_sex_alone_has_it(species, character, value, sex):
    assert TAXA[species].only_in(character, Decimal(value)) == sex


@pytest.mark.parametrize(
    ("female", "male", "value", "sex"),
    [
        ([20, 30], [25, 35], 24, "female"),
        ([20, 30], [25, 35], 31, "male"),
        ([20, 30], [20, 35], 31, None),  # the one span holds the other
        ([20, 35], [25, 35], 24, None),
        ([20, 30], [20, 30], 25, None),
        ([31, 35], [20, 30], 30, "male"),
    ],
)
def test_a_span_that_holds_the_others_tells_nothing(female, male, value, sex):
    given = {"female": female, "male": male, "source": "", "status": "from memory"}
    assert invented(ventrals=[given]).only_in("ventrals", Decimal(value)) == sex
