"""What can be chosen when a check is noted: each word of the log once, with what people read.

Pages and papers say the text; where there is little room, as on a phone, the brief one. The
phone's own list is generated from here (``deploy/words``).
"""

from collections.abc import Iterable
from typing import Final, NamedTuple


class Choice(NamedTuple):
    """``word`` as in a fact's body, what it is called, and ``short`` where that differs."""

    word: str
    text: str
    short: str = ""

    @property
    def brief(self) -> str:
        return self.short or self.text


Choices = tuple[Choice, ...]


def words(choices: Iterable[Choice]) -> tuple[str, ...]:
    return tuple(one.word for one in choices)


def texts(choices: Iterable[Choice]) -> tuple[tuple[str, str], ...]:
    """Words with their texts, as a form offers them."""
    return tuple((one.word, one.text) for one in choices)


def briefs(choices: Iterable[Choice]) -> tuple[tuple[str, str], ...]:
    """The same, where there is little room."""
    return tuple((one.word, one.brief) for one in choices)


CONCLUSIONS: Final[Choices] = (
    Choice("male", "Male"),
    Choice("female", "Female"),
    Choice("undetermined", "I could not tell", "Could not tell"),
)
SURENESSES: Final[Choices] = (
    Choice("certain", "Certain"),
    Choice("fairly_sure", "Fairly sure"),
    Choice("unsure", "Unsure"),
)
STOPS: Final[Choices] = (
    Choice("resistance", "It met resistance", "Resistance"),
    Choice("choice", "I stopped; it was still gliding", "I stopped"),
    Choice("aborted", "Broken off; says nothing", "Broken off"),
)
IDENTIFIED: Final[Choices] = (
    Choice("tag", "I read the tag of its tub", "Tub tag read"),
    Choice("transponder", "I read its transponder", "Transponder read"),
    Choice("scale_photo", "I compared a scale photo", "Scale photo"),
    Choice("keeper_said", "Its keeper told me which one it is", "Keeper told me"),
    Choice("appearance", "By its looks"),
)
HOLDERS: Final[Choices] = (
    Choice("second_person", "A second person"),
    Choice("keeper", "Its keeper"),
    Choice("examiner", "I held it myself", "I did"),
    Choice("sedated", "It was sedated"),
    Choice("not_held", "It was not held", "Nobody"),
)
HARMS: Final[Choices] = (
    Choice("bleeding", "Bleeding"),
    Choice("swelling", "Swelling"),
    Choice("discharge", "Discharge"),
    Choice("straining", "Straining"),
    Choice("prolapse", "Prolapse"),
    Choice("other", "Something else"),
)
TOLD: Final[Choices] = (
    Choice("no", "Nobody had told me", "Nobody"),
    Choice("male", "I had been told male", "Told male"),
    Choice("female", "I had been told female", "Told female"),
)
"""``no`` is no word of the log: nothing is said there."""
REPORTED: Final[Choices] = (
    Choice("veterinarian", "A veterinarian's"),
    Choice("laboratory", "A laboratory's"),
    Choice("earlier_keeper", "An earlier keeper's"),
)
"""Whose check it was, where it was not its sender's own."""
YOUR_WORD: Final = (
    "Until they confirm it, or somebody without a share in the animal confirms what they read or "
    "saw, it is your word and verifies nothing."
)
"""What whoever reports a check is told."""
SHEDS: Final[Choices] = (
    Choice("opaque", "Opaque"),
    Choice("clear", "Clear", "Clear again"),
    Choice("shed", "Shed"),
)
IN_SHED: Final[Choices] = (*SHEDS[:2], Choice("none", "No"))
"""What a guest is told at the rack; it goes into the note."""
MEALS: Final[Choices] = (
    Choice("under_48", "Under 48 h"),
    Choice("under_72", "48 to 72 h"),
    Choice("longer", "Longer"),
    Choice("unknown", "Not known"),
)
"""How long ago the last meal was, as a guest is told at the rack; it goes into the note."""
