"""The story of `fall.py`, which sets Django up before this is imported."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import httpx
import msgspec
from cast import fresh_id, keeper, probing
from django.utils import timezone

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.sales import represent
from scalewitness.intake.services import accept_one
from scalewitness.intake.shown import shown_now
from scalewitness.intake.statements import name_founders
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force
from scalewitness.sales.services import draft_sale


class Story:
    """A breeder, three guests, an animal sold ``buyers`` times, and the call that ends it.
    ``other``: an animal of theirs that nothing happens to."""

    def __init__(self, buyers: int) -> None:
        self.buyers = buyers
        self.now = timezone.now() - timedelta(days=buyers + 40)
        self.seller, *self.guests = (
            keeper(name) for name in ("Wilhelmina Stroud", "Ansel Ruyter", "Petra Okun", "Ib Lund")
        )
        name_founders([guest.pk for guest in self.guests], self.now)
        self.token = enrol_device(self.seller, "desk", self.now)[1]
        self.room = create_collection(self.seller, fresh_id(), "The long room", self.now)
        self.other, self.animal = self._register("T-0"), self._register("T-1")
        for guest in self.guests[:2]:
            self._check_blind(guest, "male")
        for number in range(buyers):
            self._sell(number)
        self.now = timezone.now()
        self.visit = self._visit(self.guests[2])
        self.guest_token = enrol_device(self.guests[2], "phone", self.now)[1]
        # What was told until now is no part of this.
        Letter.objects.exclude(kind="disclosure").update(state=Letter.State.SENT, sent_at=self.now)
        self.before = Entry.objects.count()

    def call(self) -> dict[str, Any]:
        """The blind guest finds a female."""
        body = probing("female", "T-1") | {"visit": str(self.visit)}
        return self._item("call_made", self.animal, body)

    def push(self, url: str) -> None:
        call = self.call()
        headers = {"Authorization": f"Bearer {self.guest_token}"}
        answer = httpx.post(url, json={"items": [call]}, headers=headers, timeout=120)
        (outcome,) = answer.raise_for_status().json()["items"]
        if outcome["status"] != "accepted":
            raise RuntimeError(outcome)

    def problems(self, arrived: int) -> list[str]:
        """What is not as promised: one disclosure and one letter a buyer, in one transaction."""
        since = Entry.objects.filter(position__gte=self.before)
        owed = since.filter(kind="disclosure_owed")
        letters = Letter.objects.filter(kind="disclosure")
        # The worker states the map's root in transactions of its own, whatever came in before.
        of_fall = since.exclude(kind="map_root")
        moments = set(of_fall.values_list("received_at", flat=True))
        found = {
            "disclosures owed": (owed.count(), self.buyers),
            "letters": (letters.count(), self.buyers),
            "letters sent": (letters.filter(state=Letter.State.SENT).count(), self.buyers),
            "letters arrived": (arrived, self.buyers),
            "transactions": (len(moments), 1),
        }
        return [f"{what}: {one} of {all_}" for what, (one, all_) in found.items() if one != all_]

    # --- how it came to that ----------------------------------------------------------

    def _register(self, tag: str) -> UUID:
        animal = fresh_id()
        body = {"collection": str(self.room.pk), "species": "python_regius"}
        self._state(self.seller, "animal_registered", animal, body)
        self._state(self.seller, "identifier_assigned", animal, {"scheme": "tag", "code": tag})
        return animal

    def _visit(self, guest: Keeper) -> UUID:
        visit = fresh_id()
        body = {
            "collection": str(self.room.pk),
            "guest": str(guest.pk),
            "animals": [str(self.animal)],
            "opens": rfc3339(self.now - timedelta(hours=1)),
            "closes": rfc3339(self.now + timedelta(days=1)),
            "blind": True,
        }
        self._state(self.seller, "visit_invited", visit, body)
        self._state(guest, "visit_accepted", visit, {})
        return visit

    def _check_blind(self, guest: Keeper, sex: str) -> None:
        self.now += timedelta(days=2)
        visit = self._visit(guest)
        self._state(guest, "call_made", self.animal, probing(sex, "T-1") | {"visit": str(visit)})

    def _sell(self, number: int) -> None:
        self.now += timedelta(days=1)
        sale = draft_sale(
            sale=fresh_id(), collection=self.room, animals=[Animal.objects.get(pk=self.animal)],
            buyer_id=fresh_id(), buyer_name=f"Buyer {number}",
            buyer_email=f"b{number}@buyers.example", by=self.seller, now=self.now,
        )  # fmt: skip
        made = self._state(self.seller, "offer_made", sale.pk, self._terms(sale))
        self._confirm(sale, str(made.id), int(made.position or 0))
        for step in ("payment_recorded", "handed_over"):
            self._state(self.seller, step, sale.pk, {})
        back = {"to": str(self.room.pk), "why": "returned", "sale": str(sale.pk)}
        move = self._state(self.seller, "custody_changed", self.animal, back)
        body = {"move": str(move.id), "answer": "confirmed"}
        item = self._item("return_answered", sale.pk, body)
        accept_one(item, Actor(buyer=sale.buyer_id, sale=sale.pk), self.now)

    def _terms(self, sale: Sale) -> dict[str, Any]:
        return {
            "collection": str(self.room.pk),
            "buyer": str(sale.buyer_id),
            "represents": msgspec.to_builtins(represent([self.animal])),
            "recheck_days": 14,
            "remedy": "refund",
            # By the clock on the wall, as the worker is about and ends what ran out by it.
            "expires": rfc3339(timezone.now() + timedelta(days=7)),
        }

    def _confirm(self, sale: Sale, offer: str, seen: int) -> None:
        made = offer_in_force(sale)
        if made is None:
            raise RuntimeError("nothing is offered")
        shown = msgspec.to_builtins(shown_now(sale, made).summary())
        body = {"offer": offer, "seen": seen, "shown": shown}
        item = self._item("sale_confirmed", sale.pk, body)
        accept_one(item, Actor(buyer=sale.buyer_id, sale=sale.pk), self.now)

    def _state(self, who: Keeper, kind: str, about: UUID, body: dict[str, Any]) -> Any:
        return accept_one(self._item(kind, about, body), Actor(keeper=who.pk), self.now)

    def _item(self, kind: str, about: UUID, body: dict[str, Any]) -> dict[str, Any]:
        at = rfc3339(self.now)
        return {"id": str(fresh_id()), "kind": kind, "at": at, "about": str(about), "body": body}
