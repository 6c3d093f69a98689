"""Checks in from CSV (UTF-8, commas, a head line), and what is known here out as CSV.

In: each line becomes facts or is given back with its number and the reason; the same line again
is the same facts (ids are made from its content), so a file read twice doubles nothing. Out:
no cell begins in a way that a spreadsheet would compute. Lists of animals: `domain.tables`.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

import msgspec

from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness.domain.tables.csvlines import lines_of, record, records
from scalewitness.domain.tables.files import MARK, plain, written
from scalewitness_cli import checks
from scalewitness_cli.checks import BadWord
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.remote import Stopped

CALLS = ("animal", "at", "left", "right", "unusual", "probe_mm", "observed", "conclusion",
    "sureness", "identified", "held_by", "harm", "told", "grams", "visit", "note")  # fmt: skip
"""``left``, ``right``: runs as ``9:resistance``, several separated by spaces; ``unusual``: ``yes``
where they did go that deep; ``observed``: JSON of another method; ``harm``: words separated by
spaces."""
ANIMALS = ("tag", "transponder", "species", "hatched", "name", "rack", "description", "collection")
OUT_CALLS = ("id", "position", *CALLS[:13], "examiner", "reported_role", "reported_who", "report",
    "document", "note", "log_origin")  # fmt: skip
"""``examiner``: whoever sent it. Of a report also the role and id of whom it names, what the record
makes of it (``unconfirmed``, ``confirmed``, ``denied``), and the SHA-256 of its document.
``log_origin``: of the log that ``position`` is in."""
OUT_ANIMALS = ("id", *ANIMALS, "grams", "standing", "p_male")


Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class BadLine:
    """``number``: of the line in the file, counted from 1, the head being the first;
    ``lines`` as they stood there."""

    number: int
    lines: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class GoodLine:
    """``facts`` and edits that the ``lines`` from ``number`` on come to."""

    number: int
    lines: tuple[str, ...]
    facts: list[Fact]


@dataclass(frozen=True, slots=True)
class Read:
    """What a file holds: every line after the ``head`` is in one of ``good``, in one of
    ``bad``, or ``blank``."""

    head: str
    good: list[GoodLine]
    bad: list[BadLine]
    blank: int

    @property
    def count(self) -> int:
        """Lines after the head."""
        good, bad = (sum(len(one.lines) for one in kind) for kind in (self.good, self.bad))
        return self.blank + good + bad


def table(columns: Iterable[str], rows: Iterable[Mapping[str, object]]) -> str:
    """A CSV file."""
    names = list(columns)
    return written(names, ([row.get(name) for name in names] for row in rows))


def read(
    text: str, known: Iterable[str], needed: Iterable[str], make: Callable[[Row], list[Fact]]
) -> Read:
    """Read a file line by line through ``make``, which raises BadWord or Stopped for a line
    that is no good.

    Raises:
        BadWord: the head lacks a needed column, or has one that is not known.
    """
    lines = lines_of(text.removeprefix(MARK)) or [""]
    head = record(lines, 0)
    if head.why is not None:
        raise BadWord(f"The first line is not valid. {head.why}")
    columns = [one.strip() for one in head.cells]
    _check_head(columns, set(known), set(needed))
    good, bad, blank = [], [], 0
    for one in records(lines, len(head.lines), len(columns)):
        if one.blank:
            blank += len(one.lines)
            continue
        try:
            if one.why is not None:
                raise BadWord(one.why)
            good.append(GoodLine(one.number, one.lines, make(_row(columns, one.cells))))
        except (BadWord, Stopped, ValueError) as fault:
            bad.append(BadLine(one.number, one.lines, " ".join(str(fault).split())))
    mark = MARK if text.startswith(MARK) else ""
    return Read(mark + head.text, good, bad, blank)


def call_facts(
    row: Row, animal: str, keeper: str, *, species: str, steward: bool, visit: str | None
) -> list[Fact]:
    """The facts of a line about a check of an animal of that species.

    Raises:
        BadWord: a cell cannot be meant.
    """
    at, observed = _moment(row["at"]), _observed(row)
    if why := checks.unusual_depth(species, observed):
        raise BadWord(f"{why} Count again; if it did go that deep, put yes under unusual.")
    noted = checks.Noted(
        animal=animal, at=at, conclusion=row["conclusion"], sureness=row["sureness"],
        observed=observed, identified=checks.identification(row["identified"]),
        held_by=row["held_by"], harm=tuple(row["harm"].split()), told=row["told"] or None,
        visit=row["visit"] or visit, note=row["note"] or None, grams=row["grams"] or None,
    )  # fmt: skip
    if not steward and noted.visit is None:
        raise BadWord("You do not keep this animal: name the visit.")
    # As it was before there was this column: the same line stays the same facts.
    content = {name: cell for name, cell in row.items() if cell or name != "unusual"}
    return _named(checks.facts_of(noted, steward=steward), at, [keeper, animal, content])


def call_row(
    fact: Mapping[str, Any], tag: str, report: str, origin: str | None
) -> dict[str, object]:
    """A call of the feed as a line. ``report``: what the record makes of it as a report;
    ``origin``: of the log that it is in."""
    entry, body = fact["entry"], fact["entry"]["body"]
    observed, by = body["observed"], body["identified"]
    is_probing, reported = observed["method"] == "probing", body.get("reported") or {}
    return {
        "id": entry["id"],
        "position": fact["position"],
        "animal": tag or entry["about"],
        "at": entry["at"],
        "left": _runs(observed, "left"),
        "right": _runs(observed, "right"),
        "unusual": "yes" if observed.get("unusual") else "",
        "probe_mm": observed.get("probe_mm"),
        "observed": "" if is_probing else msgspec.json.encode(observed).decode(),
        "conclusion": body["conclusion"],
        "sureness": body["sureness"],
        "identified": ":".join(filter(None, (by["by"], by.get("code")))),
        "held_by": body["held_by"],
        "harm": " ".join(body.get("harm", ())),
        "told": body.get("told"),
        "examiner": fact["by_name"],
        "reported_role": reported.get("role"),
        "reported_who": reported.get("who"),
        "report": report if reported else "",
        "document": body.get("document"),
        "note": fact["texts"].get("note"),
        "log_origin": origin,
    }


def animal_row(shown: Mapping[str, Any]) -> dict[str, object]:
    codes = {one["scheme"]: one["code"] for one in reversed(shown["identifiers"])}
    standing = shown.get("standing") or {}
    return {
        "id": shown["id"],
        **codes,
        "species": shown["species"]["key"],
        "hatched": shown.get("hatched"),
        **{name: shown.get(name) for name in ("name", "rack", "description")},
        "collection": shown.get("collection", {}).get("id"),
        "grams": shown["condition"].get("grams"),
        "standing": standing.get("label"),
        "p_male": standing.get("p_male"),
    }


def _runs(observed: Mapping[str, Any], side: str) -> str:
    passes = [one for one in observed.get("passes", ()) if one["side"] == side]
    return " ".join(f"{one['depth']}:{one['stopped']}" for one in passes)


def _observed(row: Row) -> dict[str, Any]:
    passes = [
        checks.one_pass(side, text) for side in ("left", "right") for text in row[side].split()
    ]
    if bool(row["observed"]) == bool(passes):
        raise BadWord("Say what was seen: the runs on the left and right, or observed.")
    if row["unusual"] not in {"", "yes"}:
        raise BadWord(f"“{row['unusual']}”: put yes under unusual, or nothing.")
    if row["observed"]:
        found: dict[str, Any] = msgspec.json.decode(row["observed"], type=dict[str, Any])
        return found
    size = {"probe_mm": row["probe_mm"]} if row["probe_mm"] else {}
    insisted = {"unusual": True} if row["unusual"] else {}
    return {"method": "probing", "passes": passes, **size, **insisted}


def _moment(text: str) -> str:
    try:
        return rfc3339(parse_moment(text))
    except ValueError as fault:
        raise BadWord(f"“{text}” is {fault}.") from None


def _named(facts: Iterable[Fact], at: str, source: object) -> list[Fact]:
    return [one | {"id": _id(at, source, place)} for place, one in enumerate(facts)]


def _id(at: str, source: object, place: int) -> str:
    """The same for the same content: a UUIDv7 whose random part is a digest of it."""
    content = msgspec.json.encode([source, place], order="deterministic")
    moment = max(0, round(parse_moment(at).timestamp() * 1000))
    return str(uuid7(moment, sha256(content).digest()[:10]))


def _row(columns: list[str], cells: list[str]) -> Row:
    values = [plain(one.strip()) for one in cells]
    if len(values) != len(columns):
        raise BadWord(f"It has {len(values)} cells where the head has {len(columns)}.")
    # All of them, also those of animals: a line's id is made of what stands here.
    return dict.fromkeys((*CALLS, *ANIMALS), "") | dict(zip(columns, values, strict=True))


def _check_head(columns: list[str], known: set[str], needed: set[str]) -> None:
    if missing := sorted(needed - set(columns)):
        raise BadWord(f"The first line lacks: {', '.join(missing)}.")
    if strange := sorted(set(columns) - known):
        raise BadWord(f"Unknown columns: {', '.join(strange)}. Take them out.")
    if len(set(columns)) != len(columns):
        raise BadWord("A column occurs twice.")
