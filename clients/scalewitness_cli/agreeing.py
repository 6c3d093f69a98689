"""Whether what is shown of an animal agrees with its entries: what the server works out from them
and shows beside them is held to them too."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from scalewitness.domain.sheet_stated import sheet_stated
from scalewitness.domain.translog.commitment import commit

Shown = Mapping[str, Any]


def amiss(shown: Shown, facts: Sequence[Shown], *, some_hidden: bool) -> Iterator[str]:
    """What of an animal does not follow from its entries, in the log's order, as clauses.
    ``some_hidden``: entries that may not be read; what these may have said is not judged."""
    entries = [(one["position"], one["entry"]) for one in facts]
    yield from _standing(shown.get("standing"), entries)
    stated = sheet_stated((one["kind"], one["body"]) for _, one in entries)
    yield from _sheet(shown, stated, some_hidden=some_hidden)
    for fact in facts:
        yield from _texts(fact)


def _texts(fact: Shown) -> Iterator[str]:
    """Text that is gone was erased; what is shown is what its author wrote."""
    for field, text in fact["texts"].items():
        salt = fact.get("salts", {}).get(field)
        if salt is None or fact["entry"]["body"].get(field) != commit(text, bytes.fromhex(salt)):
            at = fact["position"]
            yield f"the {field} shown at position {at} is not the one that its entry commits to"


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


def _sheet(shown: Shown, stated: Shown, *, some_hidden: bool) -> Iterator[str]:
    here = sorted([one["scheme"], one["code"]] for one in shown.get("identifiers", []))
    if here != stated["codes"]:
        yield "the codes shown are not those that were stated"
    if some_hidden:
        return
    particulars = (shown["species"]["key"], shown["hatched"])
    if stated["species"] and particulars != (stated["species"], stated["hatched"]):
        yield "the species or the day of hatching shown is not the one that was stated"
    if (shown.get("ended") or {}).get("why") != stated["ended"]:
        yield "whether the animal died, was lost or stolen is shown otherwise than stated"
