"""The races of `race.py`, which sets Django up before this is imported."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier
from typing import Any

import msgspec
from cast import fresh_id
from django.db import connection
from django.utils import timezone
from fall_story import Story, _probing

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.intake.shown import shown_now
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force, progress_of
from scalewitness.sales.services import draft_sale
from scalewitness.standings.queries.logged import standings_of


class Races(Story):
    """The breeder and guests of the fall, with an animal of its own for each race."""

    tag = "T-1"

    def run(self, number: int, threads: ThreadPoolExecutor) -> str:
        """One race, and what came of it in words."""
        self.tag, self.now = f"R-{number}", timezone.now() - timedelta(days=20)
        self.animal = self._register(self.tag)
        for guest in self.guests[:2]:
            self._check_blind(guest, "male")
        self.now = timezone.now()
        visit, sale = self._visit(self.guests[2]), self._offered()
        call = self._item("call_made", self.animal, self._probed("female") | {"visit": str(visit)})
        confirmation = self._item("sale_confirmed", sale.pk, self._shown(sale))
        start = Barrier(2)
        first, second = (
            (confirmation, Actor(buyer=sale.buyer_id, sale=sale.pk)),
            (call, Actor(keeper=self.guests[2].pk)),
        )
        if number % 2:  # neither is always the first to be begun
            first, second = second, first
        futures = [threads.submit(self._sent, start, *one) for one in (first, second)]
        answers = [one.result() for one in futures]
        confirmed, called = answers[::-1] if number % 2 else answers
        return self._judged(Sale.objects.get(pk=sale.pk), confirmed, called)

    def _judged(self, sale: Sale, confirmed: int | str, called: int | str) -> str:
        labels = [one for one in standings_of(self.animal) if one.label != "verified male"]
        fell = max(one.position for one in labels) if labels else None
        if isinstance(called, str):
            return f"WRONG: the call was refused: {called}"
        if fell is None or fell < called:
            return "WRONG: it did not fall"
        if isinstance(confirmed, str):
            return f"the fall came first, the confirmation was refused: {confirmed}"
        if confirmed > called:
            return "WRONG: confirmed after it fell"
        if not progress_of(sale).is_held:
            return "WRONG: confirmed before it fell, and the sale goes on"
        return "confirmed before it fell, and held since"

    def _sent(self, start: Barrier, item: dict[str, Any], actor: Actor) -> int | str:
        """Its position, or why it was refused."""
        try:
            start.wait()
            outcome = accept_one(item, actor, timezone.now())
        except Refused as refused:
            return str(refused.as_problem()["code"])
        finally:
            connection.close()
        return outcome.position if outcome.position is not None else str(outcome.problem)

    def _offered(self) -> Sale:
        sale = draft_sale(
            sale=fresh_id(), collection=self.room, animals=[Animal.objects.get(pk=self.animal)],
            buyer_id=fresh_id(), buyer_name=f"Buyer of {self.tag}",
            buyer_email=f"{self.tag.lower()}@buyers.example", by=self.seller, now=self.now,
        )  # fmt: skip
        self._state(self.seller, "offer_made", sale.pk, self._terms(sale))
        return sale

    def _shown(self, sale: Sale) -> dict[str, Any]:
        seen, offer = tip().size - 1, offer_in_force(sale)
        if offer is None:
            raise RuntimeError("nothing is offered")
        shown = msgspec.to_builtins(shown_now(sale, offer).summary())
        return {"offer": str(offer.pk), "seen": seen, "shown": shown}

    def _probed(self, sex: str) -> dict[str, Any]:
        return _probing(sex) | {"identified": {"by": "tag", "code": self.tag}}

    def _check_blind(self, guest: Keeper, sex: str) -> None:
        self.now += timedelta(days=2)
        visit = self._visit(guest)
        self._state(guest, "call_made", self.animal, self._probed(sex) | {"visit": str(visit)})
