"""What has been published on methods other than probing snakes, against what the model expects
of one check: its share lies in each study's 95 % interval (Clopper and Pearson).

Lizards stand in where no study of snakes was found, as the model's own numbers say. "Right"
is among checks that came to a conclusion.
"""

from math import exp

import pytest
from scipy.stats import beta
from tests.domain.sexing.builders import call

from scalewitness.domain.observations import Dna, Endoscopy, Radiography, Ultrasound
from scalewitness.domain.sexing.findings import reading
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.records import error_prior
from scalewitness.domain.sexing.taxa import taxon

PARAMETERS = load_parameters("sexing-3")
SEXES = ("male", "female")


def interval(right, tried):
    """Clopper and Pearson 1934."""
    low = beta.ppf(0.025, right, tried - right + 1) if right else 0.0
    return low, beta.ppf(0.975, right + 1, tried - right) if right < tried else 1.0


def seen_in(sex, says, observed, kind, role, numbers=PARAMETERS.base):
    """How often one check of that sex shows this, which ``says`` a sex; slips and misleading
    animals with it."""
    method = observed.__struct_config__.tag
    chances = [exp(one) for one in reading(call(says, observed), kind, numbers).pair]
    a, b = error_prior(numbers, role, method, sex)
    share = numbers.get(f"error_share.{method}", 1.0)
    slip, misled = share * a / (a + b), numbers.value(f"mislead.{method}.{sex}")
    turned = slip + misled - 2 * slip * misled
    own = SEXES.index(sex)
    return (1 - turned) * chances[own] + turned * chances[1 - own]


def right(sex, pictures, kind, role):
    """``pictures``: what a male and what a female usually shows."""
    shown = [seen_in(sex, says, one, kind, role) for says, one in zip(SEXES, pictures, strict=True)]
    return shown[SEXES.index(sex)] / sum(shown)


@pytest.mark.parametrize("sex", SEXES)
def test_ultrasound_of_44_adult_beaded_lizards_of_known_sex(sex):
    """44 of 44, single-blind (J Herpetol Med Surg 8(4))."""
    pictures = Ultrasound("hemipenes"), Ultrasound("pockets")
    low, high = interval(44, 44)
    assert low == pytest.approx(0.92, abs=0.005)
    assert low < right(sex, pictures, taxon("python_regius"), "veterinarian") <= high


@pytest.mark.parametrize("sex", SEXES)
def test_z_and_w_markers_of_81_samples(sex):
    """Tawichasri et al. 2017: 81 samples of 17 caenophidian species."""
    pictures = Dna("ZW", "blood", "homogametic"), Dna("ZW", "blood", "heterogametic")
    low, high = interval(81, 81)
    assert low == pytest.approx(0.955, abs=0.001)
    assert low < right(sex, pictures, taxon("pantherophis_guttatus"), "laboratory") <= high


@pytest.mark.parametrize("sex", SEXES)
def test_a_male_s_marker_in_24_burmese_pythons(sex):
    """Gamble et al. 2017, supplement: cut by SpeI in 12 of 12 males and in none of 12 females."""
    pictures = Dna("XY", "blood", "heterogametic"), Dna("XY", "blood", "homogametic")
    low, high = interval(12, 12)
    assert low == pytest.approx(0.735, abs=0.001)
    assert low < right(sex, pictures, taxon("python_bivittatus"), "laboratory") <= high


def test_gonads_seen_in_41_of_42_skinks_by_cystoscopy():
    """Vetere et al. 2023: 98 %, 87 to 99."""
    low, high = interval(41, 42)
    assert (low, high) == (pytest.approx(0.87, abs=0.005), pytest.approx(0.999, abs=0.001))
    kind = taxon("python_regius")
    for sex in SEXES:
        shown = zip(SEXES, (Endoscopy("testes"), Endoscopy("ovaries")), strict=True)
        resolved = sum(seen_in(sex, *one, kind, "veterinarian") for one in shown)
        assert low < resolved < high


def test_hemipenes_found_by_contrast_in_8_of_9_male_lizards():
    """The study itself, of 19 adult lizards with blinded readers, is told at second hand
    (Clinician's Brief); 3 in 4 are the model's, from another (Tan, Poetri and Ulum)."""
    low, high = interval(8, 9)
    assert low == pytest.approx(0.52, abs=0.005)
    kind = taxon("malayopython_reticulatus")
    found = Radiography(contrast=True, seen="hemipenes")
    assert low < seen_in("male", "male", found, kind, "veterinarian") < high
