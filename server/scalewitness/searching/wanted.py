"""What may be asked of animals, as an address or a command has it."""

from dataclasses import dataclass, fields
from typing import Literal, get_args
from uuid import UUID

Standing = Literal["verified", "probable", "contested", "unsexed"]
Sexed = Literal["male", "female"]
Age = Literal["under_1", "1_to_3", "over_3", "unknown"]
Checked = Literal["never", "within_a_year", "over_a_year"]
Planned = Literal["for_sale", "pairing"]
Whose = Literal["mine", "shown"]
Order = Literal["name", "species", "age", "weight", "checked", "standing", "place"]

CHOICES: dict[str, tuple[str, ...]] = {
    "standing": get_args(Standing),
    "sex": get_args(Sexed),
    "age": get_args(Age),
    "checked": get_args(Checked),
    "planned": get_args(Planned),
    "whose": get_args(Whose),
    "order": get_args(Order),
}
"""Of each filter that is one of a few; the others are free text or an id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Empty: not asked for. ``text`` is looked for in names, codes, species, traits, places and
    parents; ``sex`` is what the label names; ``parent`` finds an animal's young."""

    text: str = ""
    species: str = ""
    standing: Standing | Literal[""] = ""
    sex: Sexed | Literal[""] = ""
    age: Age | Literal[""] = ""
    place: str = ""
    trait: str = ""
    checked: Checked | Literal[""] = ""
    planned: Planned | Literal[""] = ""
    whose: Whose | Literal[""] = ""
    parent: UUID | None = None
    collection: UUID | None = None
    order: Order = "name"
    backwards: bool = False

    @property
    def is_beyond_the_sheet(self) -> bool:
        """Whether what is asked could tell a sex, an earlier check, or whose an animal is: then
        no animal that one is to check blind is found, whatever is true of it."""
        return any(getattr(self, name) for name in BEYOND_THE_SHEET)


BEYOND_THE_SHEET = (
    "standing", "sex", "place", "trait", "checked", "planned", "parent", "collection",
)  # fmt: skip
"""All but what stands on a blind guest's sheet (codes, species, hatch date), and that it is not
theirs."""
assert set(BEYOND_THE_SHEET) < {one.name for one in fields(Wanted)}  # noqa: S101  a slip of the pen
