"""The letter that tells a buyer that a verified sex no longer stands as it was sold."""

from collections.abc import Sequence
from typing import Any, NamedTuple
from uuid import UUID

from scalewitness.disclosures.models import Disclosure
from scalewitness.fresh_ids import fresh_id
from scalewitness.letters.animals import Concerned, as_bought
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import about_sale
from scalewitness.mail.services import queueing as mail
from scalewitness.sales.models import OfferLink
from scalewitness.sales.queries import offer_in_force


class Owed(NamedTuple):
    """A disclosure with the fact that states it, and the buyer's way to it. ``reader``: the buyer
    as somebody whom the animal concerns beside that, and ``dispute`` one that opens with it, where
    they may read it."""

    disclosure: Disclosure
    fact: UUID
    link: OfferLink
    reader: Concerned | None = None
    dispute: UUID | None = None


def send_disclosures(owed: Sequence[Owed], cause_kind: str, owing: Owing) -> None:
    """Both versions side by side; the seller can neither stop nor edit it. What was owed about
    the same and has not left is told in the new letter too: nobody should read first of a fall
    that is mended already."""
    owing.owe_all(
        mail.letter(
            id=fresh_id(owing.now),
            kind="disclosure",
            cause=one.disclosure.pk,
            recipient=one.disclosure.to_id,
            to=one.disclosure.to.email,
            context=_disclosed(one, cause_kind),
            now=owing.now,
            about=f"{one.disclosure.animal_id} in {one.disclosure.sale_id}",
        )
        for one in owed
    )


def _disclosed(one: Owed, cause_kind: str) -> dict[str, Any]:
    owed = one.disclosure
    offered = offer_in_force(owed.sale)
    return {
        **about_sale(owed.sale),
        "disclosure": str(owed.pk),
        "receipt": str(one.fact),
        "animal": as_bought(owed.animal, owed.sale),
        "holds": one.reader is not None and one.reader.sold is None,
        "sold_on": one.reader is not None and one.reader.sold is not None,
        "dispute": str(one.dispute) if one.dispute else None,
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
        "link": str(one.link.pk),
    }
