"""Single cells: what a sex, a count or a code that somebody typed can mean."""

import re
from dataclasses import dataclass
from typing import Final, Literal

from scalewitness.domain.identifiers import CODE_DIGITS, parse_transponder
from scalewitness.domain.tables.days import figures_of_day
from scalewitness.domain.tables.sheets import Cell

Sex = Literal["male", "female", "unknown", "several", "ask"]
"""``several``: animals, of which none can be told. ``ask``: it could mean more than one thing."""

NOTHING: Final = frozenset({"", "-", "–", "—", "?", "n/a", "na", "none", "unknown", "unk", "."})
_MALE: Final = frozenset({"m", "male", "males", "♂", "mann", "männlich", "macho", "mâle", "buck"})
_FEMALE: Final = frozenset(
    {"f", "female", "females", "♀", "w", "weib", "weiblich", "hembra", "femelle"}
)
_UNSEXED: Final = frozenset(
    {"u", "us", "ns", "nv", "unsexed", "unsext", "not sexed", "undetermined", "tbd"}
)
_DOUBT = re.compile(
    r"\b(?:pr|prob|probably|probable|poss|possible|possibly|maybe|likely|presumed|pres|verm)\b\.?"
)
_COUNT = re.compile(r"(\d{1,3})[.,](\d{1,3})(?:[.,](\d{1,3}))?")
_TIMES = re.compile(r"(?:x\s*(\d{1,3})|(\d{1,3})\s*(?:x|×|pcs?|stk|stück|animals?|snakes?))")
_LEADING = re.compile(r"(\d{1,3}[.,]\d{1,3}(?:[.,]\d{1,3})?|\d{1,3}\s*[x×])\s+(\S.*)")
_SPAN = re.compile(r"([A-Za-z]+[-_ ]?)(\d+)\s*(?:-|–|to|bis|\.\.)\s*(?:\1)?(\d+)")


@dataclass(frozen=True, slots=True)
class SeenSex:
    sex: Sex
    sure: bool = True


def see_sex(cell: Cell) -> SeenSex:
    """What a cell says of an animal's sex, by what it shows where it holds too little: a sheet
    makes 1 of ``1.0``."""
    stored = _sex_in(cell.text)
    if cell.kind != "number" or not cell.shown:
        return stored
    shown = _sex_in(cell.shown)
    if shown.sex in ("ask", stored.sex):
        return stored
    return shown if stored.sex == "ask" else SeenSex("ask")


def _sex_in(typed: str) -> SeenSex:
    text = typed.strip().lower()
    if counted := _count(text):
        return SeenSex(counted)
    if text in NOTHING or text in _UNSEXED:
        return SeenSex("unknown")
    bare = " ".join(_DOUBT.sub(" ", text).replace("?", " ").replace(".", " ").split())
    doubted = bare != " ".join(text.replace(".", " ").split())
    if bare in _MALE or bare in _FEMALE:
        return SeenSex("male" if bare in _MALE else "female", sure=not doubted)
    return SeenSex("unknown" if not bare or bare in _UNSEXED else "ask")


def _count(text: str) -> Sex | None:
    """Males, females and unsexed, or how many; None where it counts nothing."""
    if found := _COUNT.fullmatch(text):
        males, females, others = (int(one or 0) for one in found.groups())
        if males + females + others > 1:
            return "several"
        return "male" if males else "female" if females else "unknown"
    if found := _TIMES.fullmatch(text):
        return "several" if int(found[1] or found[2]) > 1 else "ask"
    return None


def made_a_day(cell: Cell) -> str:
    """The count of which a sheet likely made a day, or a day's time; empty where it made none. Its
    figures are in the order in which it was typed, which is the order that the sheet shows."""
    if cell.kind == "dated":
        return cell.text if "." in cell.text else f"{cell.text}.0"
    typed = cell.shown or cell.text
    if cell.kind not in ("day", "text") or (cell.kind == "text" and _count(typed.lower())):
        return ""
    parts = figures_of_day(typed, whole=cell.kind == "day")
    if len(parts) == 3 and len(parts[0]) == 4:
        parts = parts[::-1]
    return ".".join(str(int(one[-2:])) for one in parts)


def split_count(text: str) -> tuple[Sex | None, str]:
    """A count in front of a species or a name, as in “1.2 corn snake”, and what follows it."""
    if found := _LEADING.fullmatch(text):
        return _count("".join(found[1].lower().split())) or "ask", found[2]
    return None, text


def counts_one(cell: Cell) -> bool:
    """Whether a cell that says how many animals there are says one, or nothing."""
    text = cell.text.strip().lower()
    if cell.kind in ("day", "dated"):
        return False
    return text in {*NOTHING, "1", "1x", "x1", "1 x"} or _count(text) in (
        "male",
        "female",
        "unknown",
    )


def is_span(text: str) -> bool:
    """Whether a tag names a row of animals, as M11-M16 does."""
    found = _SPAN.fullmatch(text)
    return bool(found and text.count(found[1].strip()) > 1 and int(found[2]) < int(found[3]))


# --- transponders -----------------------------------------------------------------------

_EXPONENT = re.compile(r"\d(?:[.,]\d+)?e\+?\d+", re.IGNORECASE)
_ROUNDED: Final = "000000000"
"""So many noughts at the end say that a sheet rounded the number to six figures, as it shows long
ones (our judgement: one genuine code in a thousand million ends so)."""


@dataclass(frozen=True, slots=True)
class SeenCode:
    """``code``: as it is stored, empty where ``why`` says what is wrong. ``padded``: what it would
    be with the noughts that a sheet drops from the front. ``mended``: it was not written so."""

    code: str = ""
    why: str = ""
    padded: str = ""
    mended: bool = False


def see_transponder(cell: Cell) -> SeenCode:
    text = cell.text.strip()
    if cell.kind in ("day", "dated", "other"):
        return SeenCode(why="The sheet made something else of the transponder’s number.")
    if _EXPONENT.fullmatch(text):
        return SeenCode(
            why=f"The sheet has shortened the transponder’s number to {text}; its last digits are "
            "lost. Read the chip, and set the column to text."
        )
    whole = re.sub(r"[.,]0+$", "", text) if re.fullmatch(r"\d{9,15}[.,]0+", text) else text
    digits = re.sub(r"[\s.\-\u2010-\u2013]+", "", whole)
    if digits.isascii() and digits.isdecimal() and 9 <= len(digits) < CODE_DIGITS:
        return SeenCode(why=_short(digits), padded=_padded(digits))
    try:
        code = parse_transponder(whole).code
    except ValueError as fault:
        return SeenCode(why=f"“{text[:60]}”: {fault}.")
    if code.endswith(_ROUNDED):
        return SeenCode(
            why=f"{code} ends in nine noughts: a sheet that shortens long numbers leaves such. "
            "Read the chip, and set the column to text."
        )
    return SeenCode(code, mended=whole != text)


def _short(digits: str) -> str:
    return (
        f"{digits} has {len(digits)} digits; a transponder’s number has {CODE_DIGITS}. A sheet "
        "drops noughts in front."
    )


def _padded(digits: str) -> str:
    try:
        return parse_transponder(digits.zfill(CODE_DIGITS)).code
    except ValueError:
        return ""
