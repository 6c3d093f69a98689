"""The letter that tells a buyer that a verified sex no longer stands as it was sold."""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.disclosures.models import Disclosure
from scalewitness.fresh_ids import fresh_id
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import about_sale, as_sold
from scalewitness.mail.services import queueing as mail
from scalewitness.mail.services.joining import join_waiting
from scalewitness.sales.models import OfferLink
from scalewitness.sales.queries import offer_in_force


class Owed(NamedTuple):
    """A disclosure with the fact that states it, and the buyer's way to it."""

    disclosure: Disclosure
    fact: UUID
    link: OfferLink


def send_disclosures(owed: Sequence[Owed], cause_kind: str, owing: Owing) -> None:
    """Both versions side by side; the seller can neither stop nor edit it. What was owed about
    the same and has not left is told in the new letter too: nobody should read first of a fall
    that is mended already."""
    letters = [(fresh_id(owing.now), one) for one in owed]
    into = {(one.disclosure.to_id, _about(one.disclosure)): id for id, one in letters}
    waiting = join_waiting(
        "disclosure", lambda context: (context["sale"], context["animal"]["id"]), into
    )
    owing.owe_all(
        (
            mail.letter(
                id=id,
                kind="disclosure",
                cause=one.disclosure.pk,
                recipient=one.disclosure.to_id,
                to=one.disclosure.to.email,
                context=_disclosed(one, waiting.get(id, ()), cause_kind),
                now=owing.now,
            )
            for id, one in letters
        )
    )


def _about(owed: Disclosure) -> tuple[str, str]:
    return str(owed.sale_id), str(owed.animal_id)


def _disclosed(one: Owed, waiting: Iterable[dict[str, Any]], cause_kind: str) -> dict[str, Any]:
    owed = one.disclosure
    offered = offer_in_force(owed.sale)
    return {
        **about_sale(owed.sale),
        "disclosure": str(owed.pk),
        "receipt": str(one.fact),
        "animal": as_sold(owed.animal, owed.sale),
        "change": owed.change,
        "cause_kind": cause_kind,
        "was": owed.was,
        "now": owed.now,
        "represented_at": offered.at.isoformat() if offered else None,
        "owed_at": owed.owed_at.isoformat(),
        "position": owed.position,
        "recheck_days": offered.body["recheck_days"] if offered else None,
        "remedy": offered.body["remedy"] if offered else None,
        "seller_email": owed.sale.collection.keeper.email,
        "earlier": [change for context in waiting for change in _changes_in(context)],
        "link": str(one.link.pk),
    }


def _changes_in(disclosure: dict[str, Any]) -> list[dict[str, Any]]:
    """What a letter of disclosure tells, in the order it happened."""
    names = ("change", "now", "owed_at", "position")
    return [*disclosure.get("earlier", []), {name: disclosure[name] for name in names}]
