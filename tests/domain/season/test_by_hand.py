"""A plan made by hand: what it brings, and what hangs on which sex and claim."""

import pytest
from msgspec.structs import replace
from tests.domain.season.seasons import (
    ALBINO,
    ALBINOS,
    GLOW,
    HET,
    PLAIN,
    SPIDER,
    VISUAL,
    animal,
    drawn_season,
    pair,
    season,
)

from scalewitness.domain.genetics.traits import locus
from scalewitness.domain.genetics.young import WantedYoung
from scalewitness.domain.season.by_hand import season_worth, worst
from scalewitness.domain.season.objections import objections
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import Barred, Limits, Want

SIRE, DAM = animal("m", 1.0, VISUAL), animal("f", 0.0, HET)
PAIR = pair("m", "f")


def test_half_the_young_of_an_albino_and_a_carrier_are_albinos():
    """Mendel's backcross: one in two."""
    found = season_worth(season(SIRE, DAM), (PAIR,))
    assert found.expected == pytest.approx(6 / 2, rel=0.01)
    assert found.young["albinos"] == pytest.approx(found.expected)
    assert found.pairings[0].adds == pytest.approx(found.expected)


def test_two_of_one_sex_bring_nothing():
    doubtful = replace(SIRE, p_male=0.9, p_male_strict=0.8)
    found = season_worth(season(doubtful, DAM), (PAIR,))
    assert found.expected == pytest.approx(0.9 * 3, rel=0.03)
    assert found.strict == pytest.approx(0.8 * 3, rel=0.06)
    assert found.pairings[0].a_pair == pytest.approx(0.9)
    assert season_worth(season(SIRE, animal("f", 1.0, HET)), (PAIR,)).expected == 0


def test_two_whose_sexes_are_both_mistaken_are_a_pair():
    both = season(animal("m", 0.0, VISUAL), animal("f", 1.0, HET))
    assert season_worth(both, (PAIR,)).expected == pytest.approx(3, rel=0.01)


def test_more_than_are_wanted_bring_no_more():
    one = replace(ALBINOS, most=1)
    found = season_worth(season(SIRE, DAM, wants=[one]), (PAIR,))
    assert found.expected == pytest.approx(1 - 0.5**6, abs=0.006)  # at least one of six
    assert found.young["albinos"] == pytest.approx(3, rel=0.01)


def test_a_female_has_one_clutch_however_many_males_she_is_given():
    other = animal("n", 1.0, VISUAL)
    found = season_worth(season(SIRE, other, DAM), (PAIR, pair("n", "f")))
    assert found.expected == pytest.approx(3, rel=0.01)
    assert found.over == ("f",)


def test_sons_and_daughters_count_as_they_are_wanted():
    daughters = replace(ALBINOS, young=WantedYoung(False, genotypes=ALBINOS.young.genotypes))
    found = season_worth(season(SIRE, DAM, wants=[daughters]), (PAIR,))
    assert found.expected == pytest.approx(6 / 4, rel=0.02)


def test_a_line_is_kept_by_young_of_its_animals_alone():
    kept = Want("line", 1.0, line=frozenset({"f"}))
    assert season_worth(season(SIRE, DAM, wants=[kept]), (PAIR,)).expected == pytest.approx(6)
    strange = replace(kept, line=frozenset({"x"}))
    assert season_worth(season(SIRE, DAM, wants=[strange]), (PAIR,)).expected == 0


def test_what_hangs_on_a_sex_is_all_that_its_pairings_bring():
    doubtful = replace(SIRE, p_male=0.9)
    (sex,) = season_worth(season(doubtful, DAM), (PAIR,)).hangs_on
    assert (sex.animal, sex.locus, sex.expected) == ("m", None, 0)
    assert sex.chance == pytest.approx(0.1)
    assert sex.loses == pytest.approx(3, rel=0.01)


def test_what_hangs_on_a_claim_is_what_the_season_brings_less_without_it():
    """ "66 % het": two in three carry it (the trade's shorthand for young of two carriers)."""
    claimed = animal("f", 0.0, carries={"albino": {HET: 2 / 3, PLAIN: 1 / 3}})
    (claim,) = season_worth(season(SIRE, claimed), (PAIR,)).hangs_on
    assert (claim.animal, claim.locus, claim.expected) == ("f", "albino", 0)
    assert claim.chance == pytest.approx(1 / 3, abs=0.01)
    assert claim.loses == pytest.approx(3, rel=0.01)


def test_an_unknown_animal_never_looks_promising():
    assert season_worth(season(SIRE, animal("f", 0.0)), (PAIR,)).expected == 0


def test_loci_of_another_species_do_not_matter():
    other = locus("boa_imperator", "salmon")
    found = season_worth(season(SIRE, DAM, loci=[ALBINO, other]), (PAIR,))
    assert found == season_worth(season(SIRE, DAM), (PAIR,))


def test_lethal_young_are_lost():
    """Two spiders: keepers say one young in four is lost, and never counts as any young."""
    spiders = [
        animal(key, p, carries={"spider": {("wild", "spider"): 1.0}}, young={8: 1.0})
        for key, p in (("m", 1.0), ("f", 0.0))
    ]
    of_two = season(*spiders, wants=[Want("young", 1.0)], loci=[SPIDER])
    found = season_worth(of_two, (PAIR,))
    assert found.expected == pytest.approx(6, rel=0.01)
    (why,) = found.pairings[0].objections
    assert why.why == "harmed_young"
    assert why.chance == pytest.approx(3 / 4)


def test_a_trait_of_both_sex_chromosomes_goes_with_sex_by_its_fraction():
    """A sire who had it from his dam on the X passes it to daughters; phase unknown: to both."""
    sire = animal("m", 1.0, carries={"coral_glow": {("wild", "coral_glow"): 1.0}})
    dam = animal("f", 0.0, carries={"coral_glow": {("wild", "wild"): 1.0}})
    shown = {"coral_glow": frozenset({"coral_glow"})}
    wants = [Want(str(male), 1.0, WantedYoung(male, looks=shown)) for male in (True, False)]
    found = season_worth(season(sire, dam, wants=wants, loci=[GLOW]), (PAIR,))
    assert found.young["True"] == pytest.approx(6 / 4, rel=0.03)
    assert found.young["False"] == pytest.approx(6 / 4, rel=0.03)


@pytest.mark.parametrize("seed", range(6))
def test_the_worst_tenth_is_never_better_than_the_mean(seed):
    drawn = drawn_season(seed)
    found = season_worth(drawn, (pair("m0", "f3"), pair("m1", "f4"), pair("m1", "f5")))
    assert found.worst <= found.expected
    assert found.strict <= found.expected + 3 * found.error


def test_the_worst_tenth_of_fifteen_is_one_and_a_half_of_them():
    assert worst([3.0, 1.0, *[9.0] * 13]) == pytest.approx((1 + 3 / 2) / 1.5)


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_animals_wants_and_pairings_does_not_matter(seed):
    drawn = drawn_season(seed)
    plan = (pair("m0", "f3"), pair("m1", "f4"))
    turned = replace(drawn, animals=drawn.animals[::-1], wants=drawn.wants[::-1])
    assert season_worth(turned, plan[::-1]) == season_worth(drawn, plan)


def test_mirrored_sexes_mirror_what_is_a_pair():
    one = season(animal("a", 0.93, HET), animal("b", 0.12, HET))
    other = season(animal("a", 0.07, HET), animal("b", 0.88, HET))
    here, there = Scenarios(one), Scenarios(other)
    assert here.works(pair("a", "b")) == there.works(pair("b", "a"))
    assert season_worth(one, (pair("a", "b"),)).expected == pytest.approx(
        season_worth(other, (pair("b", "a"),)).expected, rel=0.05
    )


def _why(*animals, of=PAIR, **more):
    return [one.why for one in objections(Scenarios(season(*animals, **more)), of)]


def test_why_a_pairing_is_not_proposed():
    assert _why(SIRE, DAM) == []
    assert _why(SIRE, replace(DAM, availability="on_loan")) == ["not_available"]
    lent = Limits(3, use=frozenset({"on_loan"}))
    assert _why(SIRE, replace(DAM, availability="on_loan"), limits=lent) == []
    dead = Limits(3, use=frozenset({"ended"}))
    assert _why(SIRE, replace(DAM, availability="ended"), limits=dead) == ["not_available"]
    assert _why(SIRE, replace(DAM, species="boa_imperator")) == ["other_species"]
    assert _why(SIRE, animal("f", 0.98, HET)) == ["same_sex"]
    assert _why(SIRE, DAM, barred=[Barred("m", "f", "promised")]) == ["barred"]
    kin = {("f", "m"): 0.25}
    assert _why(SIRE, DAM, kinship=kin, limits=Limits(3, kinship=0.125)) == ["kin"]
    assert _why(SIRE, DAM, kinship=kin) == []
    assert _why(SIRE, DAM, of=pair("m", "x")) == ["not_available"]


def test_the_limits_that_a_plan_exceeds_are_named():
    three = [animal(f"f{n}", 0.0, HET) for n in range(3)]
    plan = tuple(pair("m", one.animal) for one in three)
    tight = Limits(females_per_male=2, clutches=2, young=12.0)
    assert season_worth(season(SIRE, *three, limits=tight), plan).over == (
        "clutches",
        "m",
        "young",
    )
    assert season_worth(season(replace(SIRE, serves=3), *three), plan).over == ()


def test_of_joint_samples_each_is_a_season():
    """Two sisters who carry it both or neither: never one of them."""
    samples = [
        {"f": {"albino": g}, "g": {"albino": g}, "m": {"albino": VISUAL}} for g in (HET, PLAIN)
    ]
    sisters = [animal(key, 0.0) for key in "fg"]
    drawn = Scenarios(season(SIRE, *sisters, samples=samples))
    carried = [one for key in "fg" for one in drawn.genotypes(key, "albino")]
    assert carried[:200] == carried[200:]
    assert set(carried) == {HET, PLAIN}
