"""What entries about an animal state of it beside its checks."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from scalewitness.domain.identifiers import plain_code

Shown = Mapping[str, Any]
PARTICULARS: Final = ("animal_registered", "particulars_corrected")


def sheet_stated(entries: Iterable[tuple[str, Shown]]) -> dict[str, Any]:
    """What entries, as kinds and bodies in the log's order, state of an animal beside its checks:
    ``codes`` (scheme and code each, sorted), ``species``, ``hatched`` and why it ``ended``."""
    codes: dict[tuple[str, str], None] = {}
    found: dict[str, Any] = {"species": None, "hatched": None, "ended": None}
    for kind, body in entries:
        if kind in PARTICULARS:
            found |= {"species": body["species"], "hatched": body.get("hatched")}
        elif kind == "identifier_assigned":
            codes[_code_in(body)] = None
        elif kind == "identifier_withdrawn":
            codes.pop(_code_in(body), None)
        elif kind in ("animal_ended", "end_corrected"):
            found["ended"] = body["why"] if kind == "animal_ended" else None
    return found | {"codes": sorted(map(list, codes))}


def _code_in(body: Shown) -> tuple[str, str]:
    """Scheme and code of an entry about an identifier, in the form that codes are stored in."""
    return body["scheme"], plain_code(body["scheme"], body["code"])
