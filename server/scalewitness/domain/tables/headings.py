"""What a column can hold, and how keepers head it."""

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Final

FIELDS: Final[Mapping[str, str]] = {
    "tag": "Tag",
    "transponder": "Transponder",
    "name": "Name",
    "species": "Species",
    "sex": "Sex",
    "count": "How many animals",
    "hatched": "Hatched or born",
    "sire": "Sire",
    "dam": "Dam",
    "weight": "Weight",
    "grams": "Weight in grams",
    "kilograms": "Weight in kilograms",
    "ounces": "Weight in ounces",
    "pounds": "Weight in pounds",
    "weighed": "Day it was weighed",
    "traits": "Traits",
    "rack": "Rack or place",
    "description": "Description",
    "collection": "Collection, by its id",
}
"""What is taken of an animal. Anything else is left out, or goes into the description."""
MANY: Final = ("traits", "description")
"""Several columns may hold these."""
WEIGHTS: Final[Mapping[str, str]] = {
    "weight": "", "grams": "g", "kilograms": "kg", "ounces": "oz", "pounds": "lb",
}  # fmt: skip
"""Columns of weights, with the unit that each is headed in; empty where it is headed in none."""

_HEADINGS: Final[Mapping[str, str]] = {
    "tag": "tag|tags|code|id|no|nr|number|animal|animal id|animal no|snake"
    "|snake id|label|tub|tub id"
    "|kennung|tier|tiernummer|identifier",
    "transponder": "transponder|transponder no|transponder number|chip|chip no|chip nr|chip number"
    "|chip code|microchip|microchip number|microchip no|pit|pit tag|pit no"
    "|chipnummer|transpondernummer",
    "name": "name|animal name|snake name|called|rufname|pet name",
    "species": "species|art|latin|latin name|scientific name|species name|taxon"
    "|kind|type|breed|snake type",
    "sex": "sex|gender|geschlecht|m f|mf|sexed|sexe|sexo|m f u",
    "count": "count|qty|quantity|anzahl|how many|pcs|n",
    "hatched": "hatched|hatch date|hatched or born|dob|d o b|born|birth|birthday"
    "|birth date|date of birth"
    "|date hatched|hatch|geboren|geburtsdatum|schlupf|schlupfdatum|geb|hatch day|date of hatch",
    "sire": "sire|sire id|sire name|sire tag|sire code|father|father id|father name|dad|male parent"
    "|vater|vatertier",
    "dam": "dam|dam id|dam name|dam tag|dam code|mother|mother id|mother name|mum|mom|female parent"
    "|mutter|muttertier",
    "weight": "weight|gewicht|mass|wt|last weight|current weight",
    "grams": "grams|gram|g|weight g|weight grams|weight in g|weight in grams|wt g|gewicht g"
    "|gewicht in g",
    "kilograms": "kg|weight kg|weight in kg|weight in kilograms|gewicht kg|kilograms",
    "ounces": "oz|ounces|weight oz|weight in oz|weight ounces|weight in ounces|wt oz",
    "pounds": "lb|lbs|pounds|weight lb|weight lbs|weight in lb|weight in lbs|weight in pounds"
    "|wt lb|wt lbs",
    "weighed": "weighed|weighed on|date weighed|weigh date|weight date|day weighed"
    "|day it was weighed"
    "|gewogen|gewogen am",
    "traits": "traits|trait|morph|morphs|gene|genes|genetics|genotype|mutation"
    "|colour|color|phase|pattern",
    "rack": "rack|rack or place|place|location|room|shelf|position|standort|stand"
    "|rack no|vivarium|viv",
    "description": "description|notes|note|comment|comments|remarks|remark"
    "|bemerkung|bemerkungen|notiz|info",
    "collection": "collection",
}
_BY_HEADING: Final = {
    word: field for field, words in _HEADINGS.items() for word in words.split("|")
} | {label.lower(): field for field, label in FIELDS.items()}
REASON: Final = "Why it was not stored"
"""The column that a file of refused lines has; it is left out when that is read again."""


@lru_cache(maxsize=4096)
def field_headed(heading: str) -> str:
    """What a column of that heading holds; empty where it says nothing."""
    return _BY_HEADING.get(" ".join(re.findall(r"[^\W_]+", heading.lower())), "")


def headings_in(cells: Iterable[str]) -> int:
    """How many different fields the cells name, as a line of headings does."""
    return len({field for cell in cells if (field := field_headed(cell))})
