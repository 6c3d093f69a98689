"""Takes a sale as far as the scenario says, from wherever it stands."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from fixtures_demo.fixed import fixed_id
from fixtures_demo.letters import Letters
from fixtures_demo.scenario import Sale, Scenario
from scalewitness.domain.moments import rfc3339
from scalewitness_cli.remote import Api

COURSE = ("draft", "offered", "confirmed", "paid", "handed_over", "closed")
OFFER_OPEN = timedelta(days=21)
SELLERS = {"paid": "payment", "handed_over": "handover", "closed": "closing"}


class Selling:
    """Sales are looked up first: an offer is what the record says at its time, so it is never
    sent a second time."""

    def __init__(
        self, scenario: Scenario, apis: Mapping[str, Api], letters: Letters, now: datetime
    ) -> None:
        self._scenario = scenario
        self._letters = letters
        self._apis = apis
        self._now = now

    def take(self, key: str) -> str:
        """Each step that is still to come; returns a line on what was done."""
        sale = self._scenario.sales[key]
        seller = self._apis[self._scenario.collections[sale.collection].keeper]
        state = self._drafted(sale, seller)
        course = COURSE[: COURSE.index(sale.until) + 1]
        for step in course[course.index(state) + 1 :] if state in course else ():
            self._step(step, sale, seller)
        if sale.to:
            self._move(sale, seller)
        return f"sale of {', '.join(sale.animals)}: {sale.until.replace('_', ' ')}"

    def _drafted(self, sale: Sale, seller: Api) -> str:
        """The sale's state, once there is one."""
        found = seller.known(f"sales/{fixed_id('sale', sale.key)}")
        if found is None:
            draft = {
                "id": fixed_id("sale", sale.key),
                "collection": fixed_id("collection", sale.collection),
                "animals": [fixed_id("animal", animal) for animal in sale.animals],
                "buyer": {"name": sale.buyer.name, "email": sale.buyer.email},
            }
            seller.post("sales", draft)
            return "draft"
        return str(found["state"])

    def _step(self, state: str, sale: Sale, seller: Api) -> None:
        path = f"sales/{fixed_id('sale', sale.key)}"
        if state == "offered":
            seller.post(f"{path}/offer", self._offer(sale))
        elif state == "confirmed":
            self._confirm(sale)
        else:
            step = SELLERS[state]
            seller.post(f"{path}/{step}", {"id": fixed_id(step, sale.key)})

    def _offer(self, sale: Sale) -> dict[str, Any]:
        offer = {
            "id": fixed_id("offer", sale.key),
            "recheck_days": sale.recheck_days,
            "remedy": sale.remedy,
            "expires": rfc3339(self._now + OFFER_OPEN),
        }
        return offer | ({"texts": {"note": sale.note}} if sale.note else {})

    def _confirm(self, sale: Sale) -> None:
        """A buyer who is a keeper reads the offer by the link of its letter, as everybody does,
        and confirms signed in what they were shown."""
        buyer, offer = self._apis[sale.buyer_keeper or ""], fixed_id("offer", sale.key)
        shown = self._offer_in_letters(Api(buyer.url), sale.buyer.email, offer)
        body = {"offer": offer, "seen": shown["seen"], "shown": shown["shown"]}
        buyer.push([self._fact("sale_confirmed", sale.key, "sale", sale.key, body)])

    def _offer_in_letters(self, reader: Api, address: str, offer: str) -> Any:
        """The offer, found among those whose letters came to the address."""
        count = 0
        while True:
            count += 1
            token = self._letters.wait(address, "offer", count).token()
            shown = reader.known(f"offers/{token}")
            if shown is not None and shown["offer"] == offer:
                return shown

    def _move(self, sale: Sale, seller: Api) -> None:
        """The animals go over into the buyer's collection."""
        body = {
            "to": fixed_id("collection", sale.to or ""),
            "why": "sold",
            "sale": fixed_id("sale", sale.key),
        }
        for animal in sale.animals:
            if seller.known(f"animals/{fixed_id('animal', animal)}") is not None:
                seller.push([self._fact("custody_changed", animal, "animal", animal, body)])

    def _fact(self, kind: str, key: str, about: str, name: str, body: Any) -> dict[str, Any]:
        return {
            "id": fixed_id(kind, key),
            "kind": kind,
            "at": rfc3339(self._now),
            "about": fixed_id(about, name),
            "body": body,
        }
