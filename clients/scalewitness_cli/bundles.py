"""A bundle judged by its reader's own machine: what the log signed, and whether the standing that
it states follows from the entries."""

from collections.abc import Sequence
from typing import Any

import msgspec

from scalewitness.domain.sheet_stated import sheet_stated
from scalewitness.domain.translog.bundle import BadBundle, Bundle, Checked, check
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.record_map import NotShown
from scalewitness.domain.translog.stated_map import opening_in
from scalewitness_cli.recomputing import SAME, Entries, beside_in, computed_again


class Judged(msgspec.Struct, frozen=True):
    """``sheet``: as `sheet_stated`; ``standing``: the body of the last one stated, with its
    ``position``; ``computed``: `SAME`, or why it was not computed again here, as a clause. Both are
    None where none was stated. ``signed_at``: when the log signed the tree, by its clock."""

    checked: Checked
    sheet: dict[str, Any]
    standing: dict[str, Any] | None
    computed: str | None
    signed_at: str | None


def judge(
    bundle: Bundle, keys: Sequence[VerifierKey], witnesses: Sequence[VerifierKey] = ()
) -> Judged:
    """``keys``: those that may speak for its log.

    Raises:
        BadBundle: it does not hold, or its standing does not follow from its entries.
    """
    found = check(bundle, keys, witnesses)
    try:
        leaves = sorted(found.entries.items())
        sheet = sheet_stated((leaf.kind, leaf.body) for _, leaf in leaves)
        facts = [{"position": at, "entry": msgspec.to_builtins(leaf)} for at, leaf in leaves]
        standings = [one for one in leaves if one[1].kind == "standing_changed"]
        if not standings:
            return Judged(found, sheet, None, None, found.signed_at)
        at, last = standings[-1]
        return Judged(
            found,
            sheet,
            {**last.body, "position": at},
            _computed(bundle, found, sheet, facts),
            found.signed_at,
        )
    except NotShown as fault:
        raise BadBundle(f"The standing in it does not follow from its entries: {fault}.") from None
    except (ValueError, KeyError, TypeError, AttributeError) as fault:
        raise BadBundle(f"Its entries are not of a form that is known here: {fault}.") from None


def _computed(
    bundle: Bundle, found: Checked, sheet: dict[str, Any], facts: list[dict[str, Any]]
) -> str | None:
    shown = msgspec.to_builtins(bundle)
    opening = opening_in({**shown["whole"], "hidden": ()})
    entries = Entries(facts, (), beside_in(shown, found.head), opening, bundle.unread)
    seen = {"id": found.animal, "species": {"key": sheet["species"]}}
    return computed_again(seen, entries, found.head.size) or SAME
