"""Whether what is shown of an animal agrees with its entries: what the server works out from them
and shows beside them is held to them too."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from scalewitness.domain.identifiers import plain_code

Shown = Mapping[str, Any]
PARTICULARS = ("animal_registered", "particulars_corrected")


def amiss(shown: Shown, facts: Sequence[Shown], *, some_hidden: bool) -> Iterator[str]:
    """What of an animal does not follow from its entries, in the log's order, as clauses.
    ``some_hidden``: entries that may not be read; what these may have said is not judged."""
    entries = [(one["position"], one["entry"]) for one in facts]
    yield from _standing(shown.get("standing"), entries)
    yield from _codes(shown, entries)
    if not some_hidden:
        yield from _species(shown, entries)
        yield from _end(shown, entries)


def _standing(standing: Shown | None, entries: Sequence[tuple[int, Any]]) -> Iterator[str]:
    stated = [(at, one["body"]) for at, one in entries if one["kind"] == "standing_changed"]
    if standing is None or not stated:
        if standing is not None or stated:
            yield "the standing shown is not the one that was stated"
        return
    position, body = stated[-1]
    names = ("label", "p_male", "p_male_pessimistic")
    if standing["position"] != position or any(standing[name] != body[name] for name in names):
        yield f"the standing shown, {standing['label']}, is not the one stated at {position}"


def _codes(shown: Shown, entries: Sequence[tuple[int, Any]]) -> Iterator[str]:
    codes: dict[tuple[str, str], None] = {}
    for _, one in entries:
        if one["kind"] == "identifier_assigned":
            codes[code_in(one["body"])] = None
        elif one["kind"] == "identifier_withdrawn":
            codes.pop(code_in(one["body"]), None)
    here = {(one["scheme"], one["code"]) for one in shown.get("identifiers", [])}
    if here != set(codes):
        yield "the codes shown are not those that were stated"


def code_in(body: Shown) -> tuple[str, str]:
    """Scheme and code of an entry about an identifier, in the form that codes are stored in."""
    return body["scheme"], plain_code(body["scheme"], body["code"])


def _species(shown: Shown, entries: Sequence[tuple[int, Any]]) -> Iterator[str]:
    stated = [one["body"] for _, one in entries if one["kind"] in PARTICULARS]
    if not stated:
        return
    shows = (shown["species"]["key"], shown["hatched"])
    if shows != (stated[-1]["species"], stated[-1].get("hatched")):
        yield "the species or the day of hatching shown is not the one that was stated"


def _end(shown: Shown, entries: Sequence[tuple[int, Any]]) -> Iterator[str]:
    ended = None
    for _, one in entries:
        if one["kind"] == "animal_ended":
            ended = one["body"]["why"]
        elif one["kind"] == "end_corrected":
            ended = None
    if (shown.get("ended") or {}).get("why") != ended:
        yield "whether the animal died, was lost or stolen is shown otherwise than stated"
