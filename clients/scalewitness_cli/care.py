"""What is noted of an animal's keeping, from words to facts."""

from typing import Any, get_args, get_type_hints

from scalewitness.domain import facts
from scalewitness.domain.fact_words import noted_in_words
from scalewitness_cli import replica
from scalewitness_cli.checks import husbandry, in_grams
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.store import Store

Noted = dict[str, Any]
SIGNS: tuple[str, ...] = get_args(get_type_hints(facts.Health)["sign"])


def weight(text: str) -> Noted:
    """Raises BadWord."""
    return {"type": "weight", "grams": in_grams(text)}


def meal(*, taken: bool, grams: str | None) -> Noted:
    """``grams``: what it weighed. Raises BadWord."""
    more = {} if grams is None else {"grams": in_grams(grams)}
    return {"type": "meal", "taken": taken, **more}


def fact_of(shown: replica.Shown, at: str, noted: Noted, text: str = "") -> Fact:
    """With a note of that ``text``. Raises BadWord where a value is not possible."""
    made = husbandry(shown["id"], at, noted)
    return made | ({"texts": {"note": text}} if text else {})


def in_words(noted: Noted) -> str:
    return noted_in_words({"noted": noted})


def kept(store: Store) -> list[replica.Shown]:
    """What this keeper keeps or shares, and still has."""
    return [
        one
        for one in replica.animals(store)
        if replica.is_steward(store, one) and not one.get("ended")
    ]


def stands_in(shown: replica.Shown, rack: str) -> bool:
    """Whether its place is that rack or a place in it: R2 holds R2 and R2-14, not R20."""
    place, wanted = str(shown.get("rack") or "").casefold(), rack.strip().casefold()
    if not wanted or not place.startswith(wanted):
        return False
    seam = wanted[-1] + place[len(wanted) :][:1]
    return len(seam) == 1 or not (seam.isdigit() or seam.isalpha())
