"""What a page showed, held to the entries proved with it: as ``checking/agreeing.js`` does in the
reader's browser, for the file that a page saves."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import msgspec

from scalewitness.domain.moments import parse_moment
from scalewitness.domain.sheet_stated import sheet_stated
from scalewitness.domain.translog.commitment import commit
from scalewitness.domain.translog.leaf import Leaf

Fields = Mapping[str, Any]
CALLS = ("call_made", "call_refiled")
MOST = 3
"""How many differences of one thing are told."""


class Record(msgspec.Struct, frozen=True):
    """The entries about something that the reader may read, by position, and how many more there
    are."""

    entries: dict[int, Leaf]
    hidden: int


def disagreements(
    shown: Sequence[Fields], records: Mapping[str, Record], seen: int
) -> Iterator[str]:
    """What does not follow from the entries, as sentences. ``seen``: up to which position all had
    to be shown.

    Raises:
        ValueError, KeyError, TypeError, AttributeError: what is said to be shown is malformed.
    """
    for one in shown:
        record = records.get(one["about"])
        if record is None:
            yield f"{one['label']}: the server shows no proof of it."
        elif one["kind"] == "record":
            yield from _left_out(one, shown, record, seen)
        elif one["kind"] == "sheet":
            yield from _of_sheet(one, record)
        elif one["kind"] == "standing":
            yield from _of_standing(one, record, seen)
        else:
            yield from _of_entry(one, one["kind"], record)
            yield from _of_call(one, record, seen)


def _named(one: Fields) -> str:
    return f"{one['label']} (position {one['position']})"


def _of_entry(one: Fields, kind: str, record: Record) -> Iterator[str]:
    entry = record.entries.get(one["position"])
    if entry is None or entry.kind != kind or one.get("id", entry.id) != entry.id:
        yield f"{_named(one)} is shown, and the log has no such entry there."
        return
    differ = [
        *_beside(one, entry),
        *_differences(one.get("holds", {}), entry.body),
        *(_in_full(one["body"], entry.body) if "body" in one else ()),
        *_texts(one.get("texts", {}), entry.body),
    ]
    if found := list(dict.fromkeys(differ))[:MOST]:
        yield f"{_named(one)}: {'; '.join(found)}."


def _beside(one: Fields, entry: Leaf) -> Iterator[str]:
    """Members of the entry that are shown, but for its body."""
    if "at" in one and parse_moment(one["at"]) != parse_moment(entry.at):
        yield _difference("at", one["at"], entry.at)
    if "by" in one and one["by"] != entry.by:
        yield _difference("by", one["by"], entry.by)
    if entry.stamp is not None:
        stamp = {"received": entry.stamp.received, "flags": list(entry.stamp.flags)}
        yield from _differences({name: one[name] for name in stamp if name in one}, stamp)


def _differences(part: object, whole: object) -> Iterator[str]:
    there = dict(_flat(whole))
    for path, value in _flat(part):
        stated = there.get(path)
        if value != stated and (stated is not None or value):
            yield _difference(path, value, stated)


def _in_full(shown: Any, stated: Any) -> Iterator[str]:
    """A page by a link leaves out the code that was read: it may be a later holder's."""
    identified = stated.get("identified") or {}
    if identified.get("code") and not (shown.get("identified") or {}).get("code"):
        left = {name: value for name, value in identified.items() if name != "code"}
        stated = {**stated, "identified": left}
    ours, theirs = dict(_flat(shown)), dict(_flat(stated))
    found = [path for path in {**ours, **theirs} if ours.get(path) != theirs.get(path)]
    if shown != stated and not found:
        yield "what it holds is another"
    yield from (_difference(path, ours.get(path), theirs.get(path)) for path in found)


def _texts(texts: Mapping[str, Sequence[str]], body: Fields) -> Iterator[str]:
    for field, (text, salt) in texts.items():
        if body.get(field) != commit(text, bytes.fromhex(salt)):
            yield f"the {field} shown is not the one that its entry commits to"


def _difference(path: str, ours: object, theirs: object) -> str:
    return f"{path} is shown as {_quoted(ours)}, its entry says {_quoted(theirs)}"


def _quoted(value: object) -> str:
    return "nothing" if value is None else f"“{_text(value)}”"


def _text(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _flat(value: object, path: str = "") -> Iterator[tuple[str, object]]:
    """Each value in it by where it stands; a list of plain values is one of them."""
    if isinstance(value, list) and not any(isinstance(one, list | dict) for one in value):
        yield path, ", ".join(map(_text, value))
    elif isinstance(value, list | dict):
        named: Iterable[tuple[Any, Any]] = (
            enumerate(value, 1) if isinstance(value, list) else value.items()
        )
        for name, one in named:
            step = str(name).replace("_", " ")
            yield from _flat(one, f"{path}, {step}" if path else step)
    else:
        yield path, value


# --- calls


def _of_call(one: Fields, record: Record, seen: int) -> Iterator[str]:
    if one["kind"] not in CALLS:
        return
    wrong = [*_withdrawn(one, record, seen), *_admitted(one, record)]
    if wrong:
        yield f"{_named(one)}: {'; '.join(wrong[:MOST])}."


def _withdrawn(one: Fields, record: Record, seen: int) -> Iterator[str]:
    gone = [
        position
        for position, entry in record.entries.items()
        if entry.kind == "call_withdrawn" and entry.body.get("call") == one["id"]
    ]
    if one["withdrawn"] and not gone:
        yield "shown as withdrawn, and nobody withdrew it"
    if not one["withdrawn"] and gone and gone[0] <= seen:
        yield f"withdrawn at position {gone[0]}, and not shown so"


def _admitted(one: Fields, record: Record) -> Iterator[str]:
    for entry in record.entries.values():
        for known in entry.body.get("admitted", ()) if entry.kind == "standing_changed" else ():
            if known["call"] == one["id"]:
                yield from _differences(one["admitted"], known)
                return
    if not record.hidden:
        yield "the record never said what it knew of it"


# --- the record as a whole


def _left_out(one: Fields, shown: Sequence[Fields], record: Record, seen: int) -> Iterator[str]:
    here = {
        (other["kind"], other.get("position")) for other in shown if other["about"] == one["about"]
    }
    for position, entry in record.entries.items():
        if position <= seen and entry.kind in one["all"] and (entry.kind, position) not in here:
            yield f"{one['label']}: {_what(entry)} at position {position} is not shown."


def _what(entry: Leaf) -> str:
    if entry.kind == "call_made":
        return f"a call ({entry.body['observed']['method']}: {entry.body['conclusion']})"
    if entry.kind == "call_held":
        return "a late check"
    return f"an entry ({entry.kind.replace('_', ' ')})"


def _of_standing(one: Fields, record: Record, seen: int) -> Iterator[str]:
    if one["position"] is not None:
        yield from _of_entry(one, "standing_changed", record)
    stated = [
        (position, entry.body["label"])
        for position, entry in record.entries.items()
        if entry.kind == "standing_changed" and position <= seen
    ]
    at, label = max(stated, default=(-1, ""))
    if at > (-1 if one["position"] is None else one["position"]):
        yield (
            f"{one['label']}: at position {at} the record states “{label}”, and that is not shown."
        )


def _of_sheet(one: Fields, record: Record) -> Iterator[str]:
    entries = [entry for _, entry in sorted(record.entries.items())]
    stated = sheet_stated((one.kind, one.body) for one in entries) | _condition(entries)
    for name, value in one["holds"].items():
        if (name == "codes" or not record.hidden) and value != stated[name]:
            yield (
                f"{one['label']}: {name} is shown as {_quoted(_spelled(value))}, its entries "
                f"say {_quoted(_spelled(stated[name]))}."
            )


def _spelled(value: object) -> object:
    return ", ".join(map(" ".join, value)) if isinstance(value, list) else value


def _condition(entries: Iterable[Leaf]) -> dict[str, Any]:
    """What was last noted of each kind, by when it was; a meal that was left counts for none."""
    notes = dict[str, Leaf]()
    for one in sorted(entries, key=lambda one: parse_moment(one.at)):
        if one.kind == "husbandry_noted" and one.body["noted"].get("taken", True):
            notes[one.body["noted"]["type"]] = one

    def noted(kind: str, name: str) -> Any:
        return notes[kind].body["noted"][name] if kind in notes else None

    weight, meal = notes.get("weight"), notes.get("meal")
    return {
        "weight": noted("weight", "grams"),
        "weighed": weight.at if weight else None,
        "fed": meal.at if meal else None,
        "shed": noted("shed", "stage"),
        "health": noted("health", "sign"),
    }
