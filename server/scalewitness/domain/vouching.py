"""Whether a keeper's own word may verify a sex, and as what they answer for others, in words."""

from collections.abc import Mapping
from typing import Final

from scalewitness.domain.facts import Footing

OWN: Final[Mapping[Footing, str]] = {
    "founder": "Your word may verify a sex: the operator named you at the start.",
    "record": "Your word may verify a sex: your own record here is good.",
    "vouched": "Your word may verify a sex: keepers here vouch for you.",
    "none": (
        "Your word does not verify a sex by itself yet. It does once eight of your blind checks, "
        "for two other keepers at least, were settled and came out well, or once two keepers who "
        "know how you work vouch for you here."
    ),
}
DECEIVED: Final = "A finding says that you deceived: your word verifies no sex here."
AS: Final[Mapping[str, str]] = {
    "": "as an examiner",
    "veterinarian": "as a veterinary practice",
    "laboratory": "as a laboratory",
}
"""By the practice that a voucher says the account is; none: for an examiner."""


def own_in_words(footing: Footing, *, deceived: bool) -> str:
    """To the keeper: what their word is worth, and what it would take."""
    return DECEIVED if deceived else OWN[footing]
