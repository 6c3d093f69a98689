"""A check as it is noted at the rack: from words to facts, and the cautions it calls for."""

import re
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any, NamedTuple

import msgspec

from scalewitness.domain import choices, facts
from scalewitness.domain.cautions import NOTHING_NOTED_YET, AtTheRack, reasons_to_wait
from scalewitness.domain.choices import words
from scalewitness.domain.moments import parse_moment
from scalewitness.domain.observations import DEEPEST, Observation
from scalewitness.domain.sexing.taxa import deepest_in_words, unusual_pass
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.identity import fresh_id

CONCLUSIONS = words(choices.CONCLUSIONS)
SURENESSES = words(choices.SURENESSES)
HARMS = words(choices.HARMS)
STOPS = words(choices.STOPS)
HOLDERS = words(choices.HOLDERS)
SHEDS = words(choices.SHEDS)
IDENTIFIED = words(choices.IDENTIFIED)

_DEPTH = re.compile(r"([0-9]{1,2})(?:[.,]([05])|(½))?")


class BadWord(ValueError):
    """Something typed that cannot be meant; the text says what would be."""


class Noted(msgspec.Struct, frozen=True, kw_only=True):
    """A check and what was noted with it. ``reported``: whose it was, where it was somebody
    else's. ``grams``, ``meal_at``, ``shed``: of the animal."""

    animal: str
    at: str
    conclusion: str
    sureness: str
    observed: dict[str, Any]
    identified: dict[str, Any]
    held_by: str
    harm: tuple[str, ...] = ()
    told: str | None = None
    visit: str | None = None
    reported: dict[str, str] | None = None
    document: str | None = None
    note: str | None = None
    grams: str | None = None
    meal_at: str | None = None
    shed: str | None = None


class State(NamedTuple):
    """An animal's condition as cautions ask for it."""

    grams: Decimal | None = None
    weighed_at: datetime | None = None
    fed_at: datetime | None = None
    shed: str | None = None
    health: str | None = None


def one_pass(side: str, text: str) -> dict[str, str]:
    """``8.5:resistance`` as a pass; the end is stated, never guessed: a run stopped by choice
    only says how deep it went at least.

    Raises:
        BadWord: another form.
    """
    depth, _, stop = text.partition(":")
    found = [one for one in STOPS if stop and one.startswith(stop.strip().lower())]
    if len(found) != 1:
        raise BadWord(
            f"“{text}”: say a depth and how the run ended, as in 8.5:resistance, 8.5:choice "
            "or 8.5:aborted."
        )
    return {"side": side, "depth": half_scales(depth), "stopped": found[0]}


def unusual_depth(species: str, observed: dict[str, Any]) -> str | None:
    """What to ask again where a run went deeper than any source gives; None where none did, or
    it is insisted on.

    Raises:
        BadWord: this is no observation.
    """
    deep = unusual_pass(species, _seen(observed))
    return None if deep is None else deepest_in_words(species)


def half_scales(text: str) -> str:
    """``8``, ``8.5``, ``8,5`` or ``8½`` as the record writes it.

    Raises:
        BadWord: no depth in whole or half subcaudal scales.
    """
    found = _DEPTH.fullmatch(text.strip())
    if found is None or Decimal(found[1]) > DEEPEST:
        raise BadWord(f"“{text}” is not a depth in whole or half scales, such as 8 or 8.5.")
    half = ".5" if found[2] == "5" or found[3] else ""
    return f"{int(found[1])}{half}"


def identification(text: str) -> dict[str, str]:
    """``tag:B12``, ``transponder:900…``, or ``keeper_said``, ``appearance``, ``scale_photo``.

    Raises:
        BadWord: another form.
    """
    by, _, code = (part.strip() for part in text.partition(":"))
    if by not in IDENTIFIED or (by in {"tag", "transponder"} and not code):
        raise BadWord(f"“{text}”: say tag:CODE, transponder:CODE, or one of {IDENTIFIED[2:]}.")
    return {"by": by, **({"code": code} if code else {})}


def facts_of(noted: Noted, *, steward: bool) -> list[Fact]:
    """The facts that a check makes: the call, and what was noted of the animal. Whoever does
    not keep the animal may leave its weight, no more.

    Raises:
        BadWord: it contradicts itself, or a value is not possible.
    """
    body = {
        "conclusion": noted.conclusion,
        "sureness": noted.sureness,
        "observed": noted.observed,
        "identified": noted.identified,
        "held_by": noted.held_by,
        **({"harm": list(noted.harm)} if noted.harm else {}),
        **({"told": noted.told} if noted.told else {}),
        **({"visit": noted.visit} if noted.visit else {}),
        **({"reported": noted.reported} if noted.reported else {}),
        **({"document": noted.document} if noted.document else {}),
    }
    _check(body)
    made = [fact("call_made", noted.animal, noted.at, body)]
    if noted.note:
        made[0]["texts"] = {"note": noted.note}
    return [*made, *_husbandry(noted, steward)]


def cautions(
    shown: dict[str, Any], now: datetime, *, steward: bool, at_rack: AtTheRack = NOTHING_NOTED_YET
) -> list[str]:
    """What speaks against checking this animal now, from what is known here and what the
    examiner says."""
    state = _state(shown.get("condition", {}))
    hold_off = bool(shown.get("hold_off"))
    ended = (shown.get("ended") or {}).get("why", "")
    return list(
        reasons_to_wait(
            state, hold_off=hold_off, now=now, steward=steward, at_rack=at_rack, ended=ended
        )
    )


def grams(text: str) -> Decimal:
    """``412.5`` or ``412,5``: to a tenth, as scales show it.

    Raises:
        BadWord: no such weight.
    """
    try:
        found = Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        found = Decimal("nan")
    if not found.is_finite() or found <= 0 or found != round(found, 1):
        raise BadWord(f"“{text}” is not a weight in grams to a tenth, such as 412.5.")
    return found


def in_grams(text: str) -> str:
    """A weight as the record writes it. Raises as `grams`."""
    return f"{grams(text).normalize():f}"


def _state(condition: dict[str, Any]) -> State:
    weighed, fed = condition.get("weighed_at"), condition.get("fed_at")
    grams = condition.get("grams")
    return State(
        grams=None if grams is None else Decimal(str(grams)),
        weighed_at=parse_moment(weighed) if weighed else None,
        fed_at=parse_moment(fed) if fed else None,
        shed=condition.get("shed"),
        health=condition.get("health"),
    )


def _check(body: dict[str, Any]) -> None:
    if body["conclusion"] == "undetermined" and body["sureness"] == "certain":
        raise BadWord("One is not certain of an undetermined sex.")
    _seen(body["observed"])
    _shaped(body, facts.CallMade)


def _seen(observed: dict[str, Any]) -> Observation:
    found: Observation = _shaped(observed, Observation)
    return found


def _shaped(given: Any, kind: Any) -> Any:
    try:
        return msgspec.convert(given, kind)
    except msgspec.ValidationError as fault:
        raise BadWord(f"The call does not have a valid form: {fault}") from None


def _husbandry(noted: Noted, steward: bool) -> Iterable[Fact]:
    if noted.grams:
        yield husbandry(noted.animal, noted.at, {"type": "weight", "grams": in_grams(noted.grams)})
    if noted.meal_at and steward:
        yield husbandry(noted.animal, noted.meal_at, {"type": "meal", "taken": True})
    if noted.shed and steward:
        yield husbandry(noted.animal, noted.at, {"type": "shed", "stage": noted.shed})


def husbandry(animal: str, at: str, what: dict[str, Any]) -> Fact:
    """What is noted of its keeping. Raises BadWord where a value is not possible."""
    try:
        msgspec.convert({"noted": what}, facts.HusbandryNoted)
    except msgspec.ValidationError as fault:
        raise BadWord(f"{what}: {fault}") from None
    return fact("husbandry_noted", animal, at, {"noted": what})


def fact(kind: str, about: str, at: str, body: dict[str, Any]) -> Fact:
    """A fact under a fresh id."""
    return {"id": fresh_id(), "kind": kind, "at": at, "about": about, "body": body}
