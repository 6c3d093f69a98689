"""A verified sex is not lost because the numbers that the record learned moved a little.

Evidence takes it away, always; numbers by themselves only where they bring it far down. So the
question is asked twice: by the numbers in force, and, where these no longer verify what the animal
was verified as, by those with which it last met the rule. If it would meet it still, with the
evidence as it now is, nothing but the numbers speaks against it.
"""

from collections.abc import Callable

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.consequences import verified_sex
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.parameters import numbers_of, released
from scalewitness.domain.sexing.tables import table

KEPT, QUARTER_DAYS = numbers_of("policy", table("policy.toml")["learned_numbers"])
"""How likely a verified sex must still be, which comes into force with the numbers; and the least
number of days from some numbers to the next."""


class Before(Struct, frozen=True):
    """An animal's standing before, as it was stated: the version of the numbers it was worked out
    with, and where these alone did not verify its sex, the older ones that did."""

    label: str = "unsexed"
    p_male: str = "0.500000"
    parameters: str = ""
    verified_with: str = ""

    @property
    def met_with(self) -> str:
        """The numbers by which a verified sex last met the rule."""
        return self.verified_with or self.parameters


class NextStanding(Struct, frozen=True):
    """A standing, and what of it is owed to older numbers. ``verified_with``: those by which the
    sex stays verified, where it does; ``by_numbers``: nothing but newer numbers took a verified
    sex away."""

    standing: Standing
    verified_with: str = ""
    by_numbers: bool = False


def settled_against(
    before: Before, found: Standing, numbers: str, least: float, by: Callable[[str], Standing]
) -> NextStanding:
    """The standing that follows one ``before``, where the rule comes to ``found`` by ``numbers``.
    ``least``: what a verified sex must keep by them; ``by``: what the rule comes to by the numbers
    of another version, with all else as it is now."""
    sex, met_with = verified_sex(before.label), before.met_with
    if sex is None or found.label == before.label or met_with == numbers:
        return NextStanding(found)
    if released(met_with) != released(numbers):
        return NextStanding(found)
    then = by(met_with)
    if then.label != before.label:
        return NextStanding(found)
    if _share(found.p_male, sex) < least:
        as_stated = by(before.parameters)
        lost = _share(float(before.p_male), sex) - _share(as_stated.p_male, sex)
        return NextStanding(found, by_numbers=lost < _ROUNDED)
    kept = replace(
        found,
        label=then.label,
        favoured=sex,
        decisive=then.decisive,
        reasons=(*then.reasons, "kept_as_numbers_changed"),
    )
    return NextStanding(kept, verified_with=met_with)


_ROUNDED = 1e-6
"""As much less likely may a sex be than was stated: six decimals are."""


def _share(p_male: float, sex: Sex) -> float:
    return p_male if sex == "male" else 1 - p_male
