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
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.parameters import numbers_of, released
from scalewitness.domain.sexing.tables import table

KEPT, QUARTER_DAYS = numbers_of("policy", table("policy.toml")["learned_numbers"])
"""How likely a verified sex must still be, which comes into force with the numbers; and the least
number of days from some numbers to the next."""


class Before(Struct, frozen=True):
    """An animal's standing before: its label, and the version of the numbers by which a verified
    sex last met the rule."""

    label: str = "unsexed"
    numbers: str = ""


class NextStanding(Struct, frozen=True):
    """A standing, and what of it is owed to older numbers. ``verified_with``: those by which the
    sex stays verified, where it does; ``by_numbers``: nothing but newer numbers took a verified
    sex away."""

    standing: Standing
    verified_with: str = ""
    by_numbers: bool = False


def settled_against(
    before: Before, found: Standing, numbers: str, least: float, again: Callable[[], Standing]
) -> NextStanding:
    """The standing that follows one ``before``, where the rule comes to ``found`` by ``numbers``.
    ``least``: what a verified sex must keep by them; ``again``: what the rule comes to by the
    numbers of ``before``, with all else as it is now."""
    sex = verified_sex(before.label)
    same_model = released(before.numbers) == released(numbers)
    if sex is None or found.label == before.label or before.numbers == numbers or not same_model:
        return NextStanding(found)
    then = again()
    if then.label != before.label:
        return NextStanding(found)
    share = found.p_male if sex == "male" else 1 - found.p_male
    if share < least:
        return NextStanding(found, by_numbers=True)
    kept = replace(
        found,
        label=then.label,
        favoured=sex,
        decisive=then.decisive,
        reasons=(*then.reasons, "kept_as_numbers_changed"),
    )
    return NextStanding(kept, verified_with=before.numbers)
