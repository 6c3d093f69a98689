"""What was received, in types: animals, their standings, and what the log has of them."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import msgspec

from scalewitness.domain.facts import BODIES
from scalewitness.domain.facts.shapes import Body
from scalewitness.domain.moments import parse_moment
from scalewitness_cli import replica


class StandingRecord(msgspec.Struct, frozen=True):
    """What the record computes of an animal's sex: ``label``, the chance of male, and the same
    with every call trusted less; both rest on the ``parameters`` named, as of log ``position``."""

    label: str
    p_male: Decimal
    p_male_pessimistic: Decimal
    parameters: str
    position: int


class AnimalRecord(msgspec.Struct, frozen=True):
    """An animal as of the last sync. Where ``blind``, a check of one's own is still to come, and
    there is nothing of its sex. ``grams``: as last weighed, at ``weighed_at``."""

    id: str
    code: str
    tags: tuple[str, ...]
    transponders: tuple[str, ...]
    species: str
    blind: bool
    name: str = ""
    place: str = ""
    hatched: date | None = None
    ended: str | None = None
    grams: Decimal | None = None
    weighed_at: datetime | None = None
    standing: StandingRecord | None = None


class EntryRecord(msgspec.Struct, frozen=True):
    """An entry of the log. ``body``: by its ``kind``, a plain dictionary where that is of a later
    version. ``texts``: free texts by field, as far as they may be read. ``by_name`` is no part of
    the log."""

    position: int
    id: str
    kind: str
    at: datetime
    by: str | None
    by_name: str | None
    body: Body | dict[str, Any]
    texts: dict[str, str]


def animal_of(shown: replica.Shown) -> AnimalRecord:
    marks = shown.get("identifiers", [])
    condition = shown.get("condition", {})
    grams, weighed = condition.get("grams"), condition.get("weighed_at")
    return AnimalRecord(
        id=shown["id"],
        code=replica.code_of(shown),
        tags=tuple(one["code"] for one in marks if one["scheme"] == "tag"),
        transponders=tuple(one["code"] for one in marks if one["scheme"] == "transponder"),
        species=shown["species"]["key"],
        blind=shown.get("sight") != "all",
        name=shown.get("name") or "",
        place=shown.get("rack") or "",
        hatched=date.fromisoformat(shown["hatched"]) if shown.get("hatched") else None,
        ended=(shown.get("ended") or {}).get("why"),
        grams=None if grams is None else Decimal(str(grams)),
        weighed_at=parse_moment(weighed) if weighed else None,
        standing=standing_of(shown.get("standing")),
    )


def entry_of(fact: replica.Shown) -> EntryRecord:
    entry = fact["entry"]
    return EntryRecord(
        position=fact["position"],
        id=entry["id"],
        kind=entry["kind"],
        at=parse_moment(entry["at"]),
        by=entry.get("by"),
        by_name=fact.get("by_name"),
        body=_body(entry["kind"], entry["body"]),
        texts=dict(fact.get("texts") or {}),
    )


def standing_of(shown: Any) -> StandingRecord | None:
    if not shown:
        return None
    kept = {name: shown[name] for name in StandingRecord.__struct_fields__}
    return msgspec.convert(kept, StandingRecord)


def _body(kind: str, body: dict[str, Any]) -> Body | dict[str, Any]:
    if kind not in BODIES:
        return body
    try:
        return msgspec.convert(body, BODIES[kind])
    except msgspec.ValidationError:
        return body  # of a later version
