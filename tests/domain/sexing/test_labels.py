"""When a probability becomes a label, falls, is restored or reversed."""

import pytest
from msgspec.structs import replace
from tests.domain.sexing.builders import (
    BALL,
    BOA,
    CORN,
    call,
    female,
    male,
    probed,
    standing,
)

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Reproduction,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.standing import SUREST
from scalewitness.domain.sexing.taxa import species_list, taxon

BURMESE, PINE = taxon("python_bivittatus"), taxon("pituophis_ruthveni")
"""Of whom a DNA test of their own is published (Gamble et al. 2017; Katz et al. 2020)."""
OVARIES, TESTES = Endoscopy("ovaries"), Endoscopy("testes")


def vet(conclusion, observed, examiner="vera", **other):
    return call(conclusion, observed, examiner, role="veterinarian", **other)


def owner(**other):
    """The owner's own first check, before anything had been said."""
    return male("olive", blind=False, interested=True, **other)


# --- verified -------------------------------------------------------------------------


def test_nothing_recorded():
    found = standing()
    assert (found.label, found.p_male, found.reasons) == ("unsexed", 0.5, ("no_evidence",))
    assert (found.favoured, found.decisive, found.weights) == (None, False, ())


def test_one_keeper_makes_a_probable_sex():
    found = standing(owner())
    assert found.label == "probable male"
    assert {"needs_second_examiner", "needs_blind_call"} <= set(found.reasons)


def test_owner_and_a_blind_second_keeper_verify():
    found = standing(owner(), male("birch"))
    assert found.label == "verified male"
    assert found.reasons == ("examiners_agree",)
    assert not found.decisive


def test_two_keepers_with_a_share_do_not_verify():
    found = standing(owner(), male("pia", interested=True))
    assert found.label == "probable male"
    assert found.reasons == ("needs_blind_call",)


def test_a_second_keeper_who_could_have_known_does_not_verify():
    found = standing(owner(), male("birch", blind=False))
    assert found.label == "probable male"
    assert found.reasons == ("needs_blind_call",)


def test_two_blind_visits_of_one_keeper_do_not_verify():
    found = standing(male("birch"), male("birch"))
    assert 0.95 < found.p_male < 0.97  # what one pair of hands misreads, it misreads again
    assert found.label == "probable male"
    assert "needs_second_examiner" in found.reasons


def test_agreeing_in_the_know_does_not_verify():
    found = standing(male("ash"), male("birch", blind=False, anchored_to="male"))
    assert found.label == "probable male"
    assert "below_0.99" in found.reasons


def test_a_sellers_word_is_no_second_examiner():
    found = standing(male("birch"), male("birch"), call("male", Hearsay("seller"), "sam"))
    assert found.reasons[-1] == "needs_second_examiner"
    looked = standing(male("birch"), male("birch"), call("male", Visual("tail"), "sam"))
    assert looked.reasons[-1] == "needs_second_examiner"


@pytest.mark.parametrize("sex", [male, female])
def test_the_tag_of_its_tub_lies_between_its_code_and_nothing_read(sex):
    def weight(identity, of=0):
        found = standing(*(sex(name, identity=identity) for name in ("ash", "birch", "cedar")))
        return abs((found.p_male, found.p_male_pessimistic)[of] - 0.5)

    for of in (0, 1):
        assert weight("confirmed", of) > weight("tub_tag", of) > weight("unconfirmed", of)


def test_however_many_read_the_tag_of_its_tub_it_may_have_held_another():
    found = standing(*(male(f"keeper-{n}", identity="tub_tag") for n in range(50)))
    assert 1 - found.p_male > 0.003 * 0.99


def test_three_blind_checks_by_the_tags_of_tubs_verify_either_sex():
    for sex in (male, female):
        calls = [sex(name, identity="tub_tag") for name in ("ash", "birch", "cedar")]
        assert standing(*calls).label.startswith("verified")


def test_a_photo_that_shows_the_same_animal_is_as_good_as_its_code():
    for unread in ("tub_tag", "unconfirmed", "mismatch"):
        read, compared = male("ash"), male("ash", identity=unread, compared="same")
        assert standing(compared).p_male == pytest.approx(standing(read).p_male, abs=1e-12)
        found = standing(vet("female", OVARIES, identity=unread, compared="same"))
        assert found.label == "verified female"


def test_a_photo_that_shows_another_animal_leaves_six_to_one():
    found = standing(*(male(f"keeper-{n}", compared="another") for n in range(50)))
    assert found.p_male < 0.85


def test_what_a_check_brought_down_no_photo_lifts():
    record = [male("ash"), male("birch"), male("cedar"), female("doubted")]
    assert standing(*record[:3]).label == "verified male"
    assert standing(*record).label == "contested"
    doubted = replace(record[3], compared="another")
    assert standing(*record[:3], doubted).label == "contested"
    later = male("elm")
    assert standing(*record[:3], doubted, later).label == "verified male"


@pytest.mark.parametrize("version", ["sexing-1", "sexing-2"])
def test_older_versions_take_a_tag_for_a_code_but_not_for_proof(version):
    numbers = load_parameters(version)
    read, tagged = male(identity="confirmed"), male(identity="tub_tag")
    assert standing(read, parameters=numbers).p_male == standing(tagged, parameters=numbers).p_male
    eggs = call("female", Reproduction("laid_eggs", True), identity="tub_tag")
    assert not standing(eggs, parameters=numbers).decisive


def test_unread_identity_keeps_two_checks_from_verifying():
    found = standing(male("ash", identity="unconfirmed"), male("birch", identity="unconfirmed"))
    assert found.label == "probable male"
    assert found.reasons[-1] == "identity_unconfirmed"


PUBLISHED = [k for k in species_list() if k.ground == "published"]


@pytest.mark.parametrize("kind", PUBLISHED, ids=lambda kind: kind.key)
@pytest.mark.parametrize("sex", ["male", "female"])
def test_two_blind_probings_anywhere_in_a_published_range_verify(kind, sex):
    """Ball pythons (Barker and Barker 2006)."""
    given = kind.depths(sex)
    for depth in (given[0], given[1]):
        calls = [call(sex, probed(float(depth)), who) for who in ("ash", "birch")]
        assert standing(*calls, taxon=kind).label == f"verified {sex}"


def test_depths_between_the_ranges_verify_nothing():
    """Sides that agree make a male of 7 scales probable, and no more."""
    for depth, sex, label in ((5, "female", "unsexed"), (7, "male", "probable male")):
        calls = [call(sex, probed(depth, depth), who) for who in ("ash", "birch", "cedar")]
        assert standing(*calls).label == label


def test_without_depths_two_probings_do_not_verify():
    found = standing(call("male", probed(), "ash"), call("male", probed(), "birch"))
    assert found.label == "probable male"


def test_two_hatchling_eversions_verify_a_male_and_never_a_female():
    out, none = Eversion("manual", "hemipenes"), Eversion("manual", "nothing")
    seen = [call("male", out, who, stage="hatchling") for who in ("ash", "birch")]
    absent = [
        call("female", none, f"keeper-{n}", stage="hatchling", at=n * 10**9) for n in range(12)
    ]
    assert standing(*seen).label == "verified male"
    assert standing(*absent[:2]).label == "unsexed"
    assert standing(*absent).label == "probable female"


# --- decisive evidence ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "kind"),
    [
        (vet("female", OVARIES), BALL),
        (vet("male", TESTES, blind=False, anchored_to="male"), BALL),
        (call("female", Reproduction("laid_eggs", True), blind=False, interested=True), BALL),
        (call("female", Reproduction("gave_birth", True), anchored_to="female"), BOA),
        (call("female", Dna("ZW", "shed", "heterogametic"), role="laboratory"), PINE),
        (call("male", Dna("ZW", "blood", "homogametic"), role="laboratory"), PINE),
        (call("male", Dna("XY", "swab", "heterogametic"), role="laboratory"), BURMESE),
    ],
)
def test_decisive_evidence_verifies_alone_yet_is_never_certain(one, kind):
    found = standing(one, taxon=kind)
    assert found.label == f"verified {one.conclusion}"
    assert found.decisive
    assert found.reasons == ("decisive_evidence",)
    assert min(found.p_male, 1 - found.p_male) > 0.0005


@pytest.mark.parametrize(
    ("one", "kind"),
    [
        (vet("female", OVARIES, identity="unconfirmed"), BALL),
        (vet("female", OVARIES, identity="tub_tag"), BALL),
        (call("female", Reproduction("laid_eggs", True), identity="tub_tag"), BALL),
        (call("female", OVARIES), BALL),  # a keeper with an endoscope
        (call("female", Reproduction("laid_eggs", False)), BALL),
        (call("female", Reproduction("laid_eggs", True), identity="unconfirmed"), BALL),
        (call("female", Dna("ZW", "shed", "heterogametic")), CORN),
        (call("male", Dna("XY", "shed", "heterogametic"), role="laboratory"), BALL),
        (call("female", Dna("ZW", "shed", "heterogametic"), role="laboratory"), CORN),
        (call("male", Dna("XY", "shed", "heterogametic"), role="laboratory"), BOA),
        (call("female", OVARIES, "owner", interested=True, report="unconfirmed"), BALL),
        (vet("female", OVARIES, report="unconfirmed"), BALL),
        (call("female", Reproduction("laid_eggs", True), report="unconfirmed"), BALL),
        (vet("male", Ultrasound("testes")), BALL),
    ],
)
def test_what_is_not_decisive(one, kind):
    found = standing(one, taxon=kind)
    assert not found.decisive
    assert not found.label.startswith("verified")


def test_enough_of_anything_is_still_not_certainty():
    calls = [
        call("female", Reproduction("laid_eggs", True), f"keeper-{n}", at=n * 10**9)
        for n in range(5)
    ]
    calls += [vet("female", OVARIES), vet("female", Ultrasound("follicles"), "viola")]
    calls += [female("ash"), female("birch")]
    calls.append(call("female", Dna("XY", "blood", "homogametic"), role="laboratory"))
    assert standing(*calls, taxon=BOA).p_male == SUREST > 0


# --- contested, fallen, restored, reversed ----------------------------------------------


def test_two_strong_checks_against_each_other_are_contested():
    found = standing(male("ash"), female("birch"), call("male", Hearsay("seller"), "sam"))
    assert (found.label, found.favoured) == ("contested", "male")
    assert "contrary_call" in found.reasons


def test_a_weak_contrary_call_contests_nothing():
    found = standing(owner(), male("birch"), call("female", Hearsay("seller"), "sam"))
    assert found.label == "verified male"
    unsure = standing(owner(), female("birch", sureness="unsure"))
    assert unsure.label == "unsexed"


def test_exactly_balanced_checks_are_contested_too():
    found = standing(vet("male", TESTES, "viola"), vet("female", OVARIES, "vera"))
    assert found.p_male == 0.5
    assert (found.label, found.favoured) == ("contested", None)
    assert found.reasons == ("evenly_balanced", "fell_from_male")


def test_ten_probings_never_outweigh_a_veterinarian():
    """Nor do two hundred: what misleads a probe misleads every probe."""
    for count in (10, 200):
        probings = [male(f"keeper-{n}") for n in range(count)]
        looked = standing(*probings, vet("female", Ultrasound("ovaries")))
        assert looked.label == "contested"
        assert looked.p_male < 0.99
        seen = standing(*probings, vet("female", OVARIES))
        assert seen.label == "contested"
        assert seen.favoured == "female"


def test_a_verified_sex_falls_at_once_even_if_the_numbers_hold():
    before = [male(f"keeper-{n}") for n in range(4)]
    found = standing(*before, female("cedar"))
    assert found.p_male > 0.99
    assert found.p_male_pessimistic > 0.95
    assert found.label == "contested"
    assert found.reasons == ("contrary_call", "fell_from_male", "needs_later_support")


def test_it_is_restored_by_the_rule_and_a_later_strong_session():
    history = [owner(), male("birch"), female("cedar")]
    assert standing(*history).label == "contested"
    later = standing(*history, male("daisy"))
    assert later.label == "verified male"
    assert later.reasons == ("restored", "examiners_agree", "contrary_call")


def test_weak_later_support_does_not_restore_it():
    history = [*(male(f"keeper-{n}") for n in range(4)), female("cedar")]
    weak = standing(*history, male("daisy", blind=False, anchored_to="male"))
    assert weak.label == "contested"
    assert "needs_later_support" in weak.reasons
    spoken = standing(*history, call("male", Hearsay("seller"), "sam"))
    assert spoken.label == "contested"


def test_an_earlier_session_going_on_is_no_later_support():
    ash = male("ash", at=0)
    history = [ash, *(male(f"keeper-{n}") for n in range(3)), female("cedar")]
    found = standing(*history, male("ash", at=3_600_000))
    assert found.label == "contested"


def test_order_is_the_logs_and_not_the_claimed_time():
    """A supporting call that enters after the contrary one counts as later, whatever the
    examiner's clock says; the same call entered before does not."""
    before = [male(f"keeper-{n}", position=n) for n in range(1, 4)]
    contrary = female("cedar", position=10, at=10**12)
    late, early = (male("daisy", position=place, at=5) for place in (11, 9))
    assert standing(*before, contrary, late).label == "verified male"
    assert standing(*before, contrary, early).label == "contested"


def test_every_further_contrary_call_needs_support_after_it():
    history = [male(f"keeper-{n}") for n in range(6)]
    history += [female("cedar"), female("fern")]
    found = standing(*history)
    assert found.reasons[-1] == "needs_later_support"
    assert standing(*history, male("daisy")).label == "verified male"


def test_it_may_fall_again_after_being_restored():
    history = [owner(), male("birch"), female("cedar"), male("daisy"), male("elm")]
    assert standing(*history).label == "verified male"
    assert standing(*history, female("fern")).label == "contested"


def test_an_examiners_own_afterthought_for_the_sex_brings_nothing_down():
    """The session as a whole still speaks against it; its newest call does not."""
    contrary = vet("female", Ultrasound("ovaries"), "vera", at=0)
    history = [male(f"keeper-{n}") for n in range(4)]
    history += [contrary, vet("male", TESTES, "viola")]
    assert standing(*history).label == "verified male"
    afterthought = vet("male", Visual("tail"), "vera", at=3_600_000)
    assert standing(*history, afterthought).label == "verified male"
    repeated = vet("female", Visual("tail"), "vera", at=3_600_000)
    assert standing(*history, repeated).label == "contested"


def test_the_other_sex_takes_over_when_the_rule_is_met_for_it():
    history = [owner(), male("birch"), vet("female", OVARIES)]
    assert standing(*history).label == "contested"
    found = standing(*history, vet("female", Ultrasound("follicles"), "viola"))
    assert found.label == "verified female"
    assert found.reasons[0] == "reversed"


def test_a_reversed_sex_falls_like_any_other():
    history = [owner(), male("birch"), vet("female", OVARIES)]
    history.append(vet("female", Ultrasound("follicles"), "viola"))
    found = standing(*history, vet("male", TESTES, "valerie"))
    assert found.label == "contested"
    assert "fell_from_female" in found.reasons


def test_a_contrary_call_before_it_was_verified_needs_no_restoring():
    history = [female("cedar"), male("ash"), male("birch"), male("daisy"), male("elm")]
    found = standing(*history)
    assert found.label == "verified male"
    assert found.reasons == ("examiners_agree", "contrary_call")


def test_taking_the_contrary_call_back_restores_what_was():
    history = [owner(), male("birch")]
    contrary = female("cedar")
    assert standing(*history, contrary).label == "contested"
    assert standing(*history).label == "verified male"


def test_a_contrary_call_on_another_animal_brings_nothing_down():
    found = standing(owner(), male("birch"), female("cedar", identity="mismatch"))
    assert found.label == "verified male"


def test_a_contrary_call_in_the_know_brings_it_down_too():
    found = standing(owner(), male("birch"), female("cedar", blind=False, anchored_to="male"))
    assert found.label == "contested"
