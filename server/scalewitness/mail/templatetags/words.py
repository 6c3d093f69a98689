"""Values as a letter or a page says them. Built into every template; nothing is loaded."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

from django import template
from django.utils import timezone

from scalewitness.domain.consequences import sex_of
from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.habits import day_in_words, weight_in_words
from scalewitness.domain.sexing.words import about

register = template.Library()

REMEDIES: Final = {
    "refund": "the price is refunded",
    "exchange": "the animal is exchanged",
    "refund_or_exchange": "the price is refunded or the animal exchanged, as the buyer chooses",
    "to_be_agreed": "seller and buyer agree on a remedy when it comes to that",
    "none": "no remedy was agreed",
}
MOST_IN_A_SUBJECT: Final = 40
"""Characters of an animal's name (our judgement): phones show some 40 of a subject."""
SCHEMES: Final = {"transponder": "transponder", "tag": "tag", "scale_photo": "scale photo"}


@register.filter
def moment(value: str | datetime | None) -> str:
    """A moment, RFC 3339 text or not, as ``25 November 2026, 15:05 CET``: in Django's current
    zone, which is its reader's."""
    if not value:
        return ""
    when = _here(value)
    return f"{day(when)}, {when:%H:%M %Z}"


@register.filter
def day(value: str | date | None) -> str:
    """A day as its reader writes it, ``25 November 2026``; of a moment, the day it was in the
    current zone."""
    if not value:
        return ""
    if isinstance(value, str):
        value = date.fromisoformat(value) if len(value) == len("2026-11-25") else _here(value)
    when = _here(value) if isinstance(value, datetime) else value
    return day_in_words(when)


@register.filter
def weight(grams: Decimal | float | str | None) -> str:
    """Grams, in the unit that their reader uses, named."""
    return "" if grams in (None, "") else weight_in_words(grams)


def _here(value: str | datetime) -> datetime:
    when = datetime.fromisoformat(value) if isinstance(value, str) else value
    return timezone.localtime(when)


@register.filter
def line(value: object) -> str:
    """What somebody typed, on one line: no name can add a paragraph to a letter, and no
    invisible character can turn its text round."""
    shown = (one if one.isprintable() else " " for one in str(value or ""))
    return " ".join("".join(shown).split())


@register.filter
def quoted(value: str) -> str:
    """What somebody typed, set off: none of its lines can pass for the letter's own."""
    lines = (line(one) for one in value.splitlines())
    return "\n".join(f"  | {one}".rstrip() for one in lines)


@register.filter
def codes(identifiers: Iterable[Mapping[str, str]]) -> str:
    """Identifiers as ``tag R-17, transponder 276098100000001``."""
    return ", ".join(
        f"{SCHEMES.get(one['scheme'], one['scheme'])} {line(one['code'])}" for one in identifiers
    )


@register.filter
def described(animal: Mapping[str, Any]) -> str:
    """An animal as a letter names it: name, species, codes; never its sex."""
    known_by = codes(animal["identifiers"])
    about = f"{animal['species']}, {known_by}" if known_by else str(animal["species"])
    name = line(animal["name"])
    return f"{name} ({about})" if name else about


@register.filter
def in_short(animal: Mapping[str, Any]) -> str:
    """An animal as a subject names it: by name, else by species and its first code."""
    codes = [line(one["code"]) for one in animal["identifiers"]]
    name = line(animal["name"]) or " ".join([animal["species"], *codes[:1]])
    return name if len(name) <= MOST_IN_A_SUBJECT else f"{name[:MOST_IN_A_SUBJECT]}…"


@register.filter
def all_in_short(animals: Sequence[Mapping[str, Any]]) -> str:
    """The animals of a sale as a subject names them: one as ever, of several how many."""
    return in_short(animals[0]) if len(animals) == 1 else f"{len(animals)} snakes"


@register.filter
def ended_in_words(why: str) -> str:
    """Why an animal is no longer there, as its keeper says."""
    return ENDED[why]


@register.filter
def remedy_in_words(remedy: str | None) -> str:
    """The agreed remedy, to follow “if the sex proves wrong, …”."""
    return REMEDIES.get(remedy or "none", REMEDIES["none"])


@register.filter
def likelihood(represented: Mapping[str, Any]) -> str:
    """The probability behind a label as a count of animals, the pessimistic one beside it
    where there is one."""
    p_male = float(represented["p_male"])
    sex = sex_of(represented["label"]) or ("male" if p_male > 0.5 else "female")
    if p_male == 0.5:
        return "nothing recorded tells which sex it is"
    sentence = f"of animals with such a record {about(_of(p_male, sex))} would be {sex}"
    if "p_male_pessimistic" not in represented:
        return sentence
    sceptical = _of(float(represented["p_male_pessimistic"]), sex)
    if sceptical < 0.5:
        return f"{sentence}; trusting every call less, the answer would lean the other way"
    return f"{sentence}; trusting every call less, {about(sceptical)}"


def _of(p_male: float, sex: str) -> float:
    return p_male if sex == "male" else 1 - p_male
