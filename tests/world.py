"""Named personas and a short way to say facts, all through the one way in."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import msgspec
from allauth.account.models import EmailAddress

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import would_set_aside
from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.rules.sales import represent
from scalewitness.intake.services import Replayed, accept, accept_one
from scalewitness.intake.shown import shown_now
from scalewitness.intake.statements import name_founders
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.models import Founder, Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import offer_in_force
from scalewitness.sales.services import draft_sale
from scalewitness.standings.queries.footing import footing_of
from scalewitness.standings.queries.logged import latest_standing

START = datetime(2026, 11, 1, 9, 0, tzinfo=UTC)
PASSWORD = "seven-quiet-scales"


def new_id(now: datetime = START) -> UUID:
    return uuid7(round(now.timestamp() * 1000), os.urandom(10))


def keeper(name: str, *, verified: bool = True) -> Keeper:
    """As signing up leaves them, and the click on the link in the letter; without what both look
    into first, as nearly every test begins with five of them."""
    email = f"{name.lower().replace(' ', '.')}@keepers.example"
    made = Keeper.objects.create_user(email, PASSWORD, name=name)
    EmailAddress.objects.create(user=made, email=email, primary=True, verified=verified)
    return made


def vouched(who: Keeper, now: datetime = START) -> Keeper:
    """Two founders who keep no animals together answer for them as an examiner."""
    for founder in Founder.objects.order_by("-position")[:2]:
        said = {"id": str(new_id(now)), "kind": "keeper_vouched", "at": rfc3339(now)}
        said |= {"about": str(who.pk), "body": {}}
        assert accept_one(said, Actor(keeper=founder.keeper_id), now).status == "accepted"
    return who


@dataclass
class World:
    """Odile keeps the snakes, Pim is her partner, Greta visits, Stan is a stranger, Fenna is known
    to check animals well, and Bela buys without an account. The five are the founders of the
    record. Time stands still unless a test moves ``now``."""

    now: datetime = START
    odile: Keeper = field(default_factory=lambda: keeper("Odile Marten"))
    pim: Keeper = field(default_factory=lambda: keeper("Pim Alder"))
    greta: Keeper = field(default_factory=lambda: keeper("Greta Lund"))
    stan: Keeper = field(default_factory=lambda: keeper("Stan Okoro"))
    fenna: Keeper = field(init=False)
    house: str = ""
    """A second name of the people who come along, where two worlds stand side by side."""
    collection: Collection = field(init=False)

    def __post_init__(self) -> None:
        self.fenna = keeper(f"Fenna Holt {self.house}".strip())
        people = (self.odile, self.pim, self.greta, self.stan, self.fenna)
        if Founder.objects.exists():  # another world stands beside
            for one in people:
                if footing_of(one.pk) == "none":
                    vouched(one, self.now)
        else:
            name_founders([one.pk for one in people], self.now)
        self.collection = create_collection(self.odile, new_id(), "The long room", self.now)

    # --- saying facts -----------------------------------------------------------------

    def item(self, kind: str, about: UUID, body: Mapping[str, Any], **more: Any) -> dict[str, Any]:
        """An envelope as a client would send it."""
        return {
            "id": str(more.pop("id", new_id(self.now))),
            "kind": kind,
            "at": rfc3339(more.pop("at", self.now)),
            "about": str(about),
            "body": dict(body),
            **more,
        }

    def say(
        self,
        who: Keeper,
        kind: str,
        about: UUID,
        body: Mapping[str, Any] | None = None,
        **more: Any,
    ) -> Outcome:
        return accept_one(
            self.item(kind, about, body or {}, **more), Actor(keeper=who.pk), self.now
        )

    def push(self, who: Keeper, *items: object) -> list[Outcome]:
        return accept(list(items), Actor(keeper=who.pk), self.now)

    def pass_time(self, **delta: float) -> None:
        self.now += timedelta(**delta)

    # --- animals and visits -----------------------------------------------------------

    def animal(
        self,
        tag: str,
        species: str = "python_regius",
        *,
        room: Collection | None = None,
        **body: Any,
    ) -> Animal:
        """In Odile's collection, or in a ``room`` of somebody else's."""
        room, about = room or self.collection, new_id(self.now)
        registered = {"collection": str(room.pk), "species": species, **body}
        for outcome in self.push(
            room.keeper,
            self.item("animal_registered", about, registered),
            self.item("identifier_assigned", about, {"scheme": "tag", "code": tag}),
        ):
            if outcome.problem:
                raise Replayed(outcome.problem)
        return Animal.objects.get(pk=about)

    def visit(
        self, guest: Keeper, *animals: Animal, blind: bool = True, days: int = 3, ahead: int = 0
    ) -> UUID:
        """Invited and accepted; open from now on, or so many days ``ahead``."""
        visit = self.invite(guest, *animals, blind=blind, days=days, ahead=ahead)
        self.say(guest, "visit_accepted", visit)
        return visit

    def invite(
        self, guest: Keeper, *animals: Animal, blind: bool = True, days: int = 3, ahead: int = 0
    ) -> UUID:
        visit, opens = new_id(self.now), self.now + timedelta(days=ahead)
        body = {
            "collection": str(self.collection.pk),
            "guest": str(guest.pk),
            "animals": [str(animal.pk) for animal in animals],
            "opens": rfc3339(opens),
            "closes": rfc3339(opens + timedelta(days=days)),
            "blind": blind,
        }
        self.say(self.odile, "visit_invited", visit, body)
        return visit

    def make_partner(self, who: Keeper) -> UUID:
        outcome = self.say(
            self.odile, "grant_given", self.collection.pk, {"to": str(who.pk), "role": "partner"}
        )
        return UUID(outcome.id)

    def view(self, who: Keeper, *animals: Animal) -> UUID:
        """May look at these animals, and at all that is said of them."""
        body = {"to": str(who.pk), "role": "viewer", "animals": [str(one.pk) for one in animals]}
        return UUID(self.say(self.odile, "grant_given", self.collection.pk, body).id)

    # --- calls ------------------------------------------------------------------------

    def call(
        self, who: Keeper, animal: Animal, sex: str, *, visit: UUID | None = None, **more: Any
    ) -> Outcome:
        body = probing(sex, tag_of(animal)) | more.pop("body", {})
        if visit is not None:
            body["visit"] = str(visit)
        return self.say(who, "call_made", animal.pk, body, **more)

    def chip(self, animal: Animal) -> str:
        """Its transponder's code; it is given one if it has none."""
        chips = animal.identifiers.filter(scheme="transponder")
        if not chips:
            code = f"9850000{animal.identifiers.get().position:08d}"
            body = {"scheme": "transponder", "code": code}
            self.say(animal.collection.keeper, "identifier_assigned", animal.pk, body)
        return chips.get().code

    def lays(self, animal: Animal) -> Outcome:
        """Odile sees her lay, and Fenna, without a share in her, sees it too: decisive."""
        body = probing("female", self.chip(animal)) | {
            "observed": {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
        }
        made = self.say(self.odile, "call_made", animal.pk, body)
        grant = self.view(self.fenna, animal)
        self.say(self.fenna, "witness_stated", animal.pk, {"call": made.id})
        self.say(self.odile, "grant_revoked", self.collection.pk, {"grant": str(grant)})
        return made

    def label(self, animal: Animal) -> str:
        standing = latest_standing(animal.pk)
        return standing.label if standing else "unsexed"

    def verified(self, tag: str, sex: str = "male") -> Animal:
        """An animal verified by two examiners on two occasions, one of them blind."""
        animal = self.animal(tag)
        guests = [keeper(f"Guest {tag} {self.house}".strip()), self.fenna]
        self.call(self.odile, animal, sex)
        for guest in guests:
            self.pass_time(days=1)
            self.call(guest, animal, sex, visit=self.visit(guest, animal))
        assert self.label(animal) == f"verified {sex}"
        return animal

    # --- disputes ---------------------------------------------------------------------

    def find(self, dispute: Dispute, *calls: Call, **body: Any) -> Outcome:
        """Odile records that these calls are set aside; the buyer agrees to those that others
        made without an interest."""
        texts = {"texts": body.pop("texts")} if "texts" in body else {}
        own, others = [
            [str(one.pk) for one in calls if one.interested is interested]
            for interested in (True, False)
        ]
        finding = {"outcome": "call_set_aside", "set_aside": own, "proposed": others, **body}
        made = self.say(self.odile, "finding_recorded", dispute.pk, finding, **texts)
        if others and dispute.sale is not None:
            return self.answer(dispute, self.buyer(dispute.sale))
        return made

    def answer(self, dispute: Dispute, who: Actor, *, agrees: bool = True) -> Outcome:
        """Whether they agree to its finding."""
        found = Finding.objects.get(dispute=dispute)
        body = {"finding": str(found.pk), "agrees": agrees}
        aside = list(would_set_aside(found)) if agrees else []
        said = self.item("finding_answered", dispute.pk, body | {"set_aside": aside})
        return accept_one(said, who, self.now)

    # --- sales ------------------------------------------------------------------------

    def draft(
        self,
        *animals: Animal,
        email: str = "bela@buyers.example",
        by_code: bool = False,
        sale: UUID | None = None,
    ) -> Sale:
        return draft_sale(
            sale=sale or new_id(self.now),
            collection=self.collection,
            animals=animals,
            buyer_id=new_id(self.now),
            buyer_name="Bela Novak",
            buyer_email=email,
            by=self.odile,
            now=self.now,
            by_code=by_code,
        )

    def offer(self, sale: Sale, **more: Any) -> Outcome:
        animals = sorted(sale.animals.values_list("pk", flat=True))
        body = {
            "collection": str(sale.collection_id),
            "buyer": str(sale.buyer_id),
            "represents": [
                {
                    "animal": one.animal,
                    "label": one.label,
                    "p_male": one.p_male,
                    "p_male_pessimistic": one.p_male_pessimistic,
                    "position": one.position,
                }
                for one in represent(animals)
            ],
            "recheck_days": 14,
            "remedy": "refund",
            "expires": rfc3339(self.now + timedelta(days=7)),
        }
        return self.say(sale.collection.keeper, "offer_made", sale.pk, body | more)

    def look(self, sale: Sale) -> dict[str, Any]:
        """What a confirmation of the offer as it is shown now would hold."""
        seen, offer = tip().size - 1, offer_in_force(sale)
        if offer is None:
            raise Sale.DoesNotExist
        shown = msgspec.to_builtins(shown_now(sale, offer).summary())
        return {"offer": str(offer.pk), "seen": seen, "shown": shown}

    def buyer(self, sale: Sale) -> Actor:
        return Actor(buyer=sale.buyer_id, sale=sale.pk)

    def confirm(self, sale: Sale, offer: str, seen: int) -> Outcome:
        item = self.item(
            "sale_confirmed", sale.pk, self.look(sale) | {"offer": offer, "seen": seen}
        )
        return accept_one(item, self.buyer(sale), self.now)

    def sold(self, animal: Animal, **more: Any) -> Sale:
        """Offered, confirmed and paid."""
        sale = self.draft(animal, **more)
        self.pay(sale)
        return sale

    def back(self, sale: Sale, animal: Animal, answer: str | None = "confirmed") -> Outcome:
        """Returned, by its seller's word, and what the buyer answers to that."""
        home = {"to": str(sale.collection_id), "why": "returned", "sale": str(sale.pk)}
        said = self.say(sale.collection.keeper, "custody_changed", animal.pk, home)
        if answer:
            body = {"move": said.id, "answer": answer}
            accept_one(self.item("return_answered", sale.pk, body), self.buyer(sale), self.now)
        return said

    def pay(self, sale: Sale) -> None:
        """Offered by whoever keeps the animals, confirmed and paid."""
        offer = self.offer(sale)
        assert offer.id is not None
        assert offer.position is not None
        self.confirm(sale, offer.id, offer.position)
        self.say(sale.collection.keeper, "payment_recorded", sale.pk)


def probing(sex: str, code: str | None = None) -> dict[str, Any]:
    """A plain probing of a royal python; depths inside the published ranges (2–4 female,
    8–10 male subcaudal scales, Barker & Barker 2006)."""
    depths = {"male": ("9", "9"), "female": ("3", "2.5"), "undetermined": ("6", "6")}[sex]
    passes = [
        {"side": side, "depth": depth, "stopped": "resistance"}
        for side, depth in zip(("left", "right"), depths, strict=True)
    ]
    by = "transponder" if code and code.isdecimal() else "tag"
    identified = {"by": by, "code": code} if code else {"by": "appearance"}
    return {
        "conclusion": sex,
        "sureness": "unsure" if sex == "undetermined" else "certain",
        "observed": {"method": "probing", "passes": passes, "probe_mm": "1.5"},
        "identified": identified,
        "held_by": "second_person",
    }


def tag_of(animal: Animal) -> str | None:
    return animal.identifiers.filter(scheme="tag").values_list("code", flat=True).first()
