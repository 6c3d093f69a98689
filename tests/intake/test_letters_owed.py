"""Which fact owes which letter, and to whom: one table, written by hand.

Odile sells, Pim is her partner, Bela buys by a link, Greta visits, Stan paired his own animal.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import pytest
from tests.intake.test_pairings import let_look, plan
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import replaced_by
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import offer_in_force

pytestmark = pytest.mark.django_db


@dataclass
class Scene:
    """A verified male with a draft of its sale, and what came of it so far."""

    world: World
    animal: Animal
    sale: Sale
    visit: UUID | None = None

    def seller(self, kind: str, body: dict[str, Any] | None = None) -> None:
        self.world.say(self.world.odile, kind, self.sale.pk, body or {})

    def buyer(self, kind: str, body: dict[str, Any] | None = None) -> None:
        item = self.world.item(kind, self.sale.pk, body or {})
        accept_one(item, self.world.buyer(self.sale), self.world.now)

    def offer(self) -> None:
        self.world.offer(self.sale)

    def confirm(self) -> None:
        self.buyer("sale_confirmed", self.world.look(self.sale))

    def sell(self) -> None:
        self.offer()
        self.confirm()
        self.seller("payment_recorded")

    def invite(self) -> None:
        self.visit = self.world.invite(self.world.greta, self.animal)

    def fall(self) -> None:
        """Greta, blind, finds a female."""
        if self.visit is None:
            self.accept_visit()
        self.world.call(self.world.greta, self.animal, "female", visit=self.visit)

    def accept_visit(self) -> None:
        self.invite()
        assert self.visit is not None
        self.world.say(self.world.greta, "visit_accepted", self.visit)

    def rise(self) -> None:
        call = self.animal.calls.get(by=self.world.greta.pk)
        self.world.say(self.world.greta, "call_withdrawn", self.animal.pk, {"call": str(call.pk)})

    def dispute(self) -> Dispute:
        return Dispute.objects.get()

    def pair(self) -> None:
        """Odile's male with a female of Stan's, each let see the other's."""
        room = create_collection(self.world.stan, new_id(self.world.now), "Shelf", self.world.now)
        mate = self.world.animal("S1", room=room)
        let_look(self.world, self.world.odile, room)
        plan(self.world, self.world.odile, self.animal, mate)


def say(kind: str, **body: str) -> Callable[[Scene], None]:
    return lambda scene: scene.seller(kind, body)


def answer(kind: str) -> Callable[[Scene], None]:
    return lambda scene: scene.buyer(kind)


def state(scene: Scene) -> None:
    texts = {"statement": "It was probed twice."}
    scene.world.say(scene.world.odile, "statement_made", scene.dispute().pk, texts=texts)


def find(scene: Scene) -> None:
    finding = {"outcome": "unresolved", "remedy": "none"}
    scene.world.say(scene.world.odile, "finding_recorded", scene.dispute().pk, finding)


def acknowledge(scene: Scene) -> None:
    item = scene.world.item("disclosure_acknowledged", Disclosure.objects.get().pk, {})
    accept_one(item, scene.world.buyer(scene.sale), scene.world.now)


def object_to_it(scene: Scene) -> None:
    opened = {"animal": str(scene.animal.pk), "ground": "party_objects"}
    scene.world.say(scene.world.odile, "dispute_opened", new_id(scene.world.now), opened)


OWED: list[tuple[str, list[Callable[[Scene], None]], set[str]]] = [
    # what happened: what was before, the event itself last; the letters it owes
    ("drafted", [], set()),
    ("offered", [Scene.offer], {"offer to Bela"}),
    ("offered again", [Scene.offer, Scene.offer], {"offer to Bela"}),
    ("withdrawn", [Scene.offer, say("offer_withdrawn")], {"offer_withdrawn to Bela"}),
    ("declined", [Scene.offer, answer("offer_declined")], {"offer_declined to Odile"}),
    ("asked", [Scene.offer, answer("check_requested")], {"check_requested to Odile"}),
    ("confirmed", [Scene.offer, Scene.confirm], {"sale_confirmed to Odile"}),
    ("paid", [Scene.offer, Scene.confirm, say("payment_recorded")], {"payment_recorded to Bela"}),
    (
        "asked to release",
        [Scene.sell, say("release_asked", why="paid_back")],
        {"release_asked to Bela"},
    ),
    ("handed over", [Scene.sell, say("handed_over")], {"handed_over to Bela"}),
    ("closed", [Scene.sell, say("handed_over"), say("sale_closed")], set()),
    ("invited", [Scene.invite], {"visit_invitation to Greta"}),
    (
        "fell, unsold",
        [Scene.accept_visit, Scene.fall],
        {"standing_notice to Odile", "standing_notice to Pim"},
    ),
    (
        "fell, offered",
        [Scene.offer, Scene.accept_visit, Scene.fall],
        {
            "sale_held to Bela",
            "sale_held_seller to Odile",
            "dispute_opened to Odile",
            "dispute_opened to Pim",
            "standing_notice to Odile",
            "standing_notice to Pim",
        },
    ),
    (
        "fell, paid",
        [Scene.sell, Scene.accept_visit, Scene.fall],
        {
            "disclosure to Bela",
            "dispute_opened to Odile",
            "dispute_opened to Pim",
            "standing_notice to Odile",
            "standing_notice to Pim",
        },
    ),
    (
        "fell, declined before",
        [Scene.offer, answer("offer_declined"), Scene.accept_visit, Scene.fall],
        {"standing_notice to Odile", "standing_notice to Pim"},
    ),
    (
        "fell, paired",
        [Scene.pair, Scene.accept_visit, Scene.fall],
        {
            "standing_notice to Odile",
            "standing_notice to Pim",
            "pairing_affected to Odile",
            "pairing_affected to Pim",
            "pairing_affected to Stan",
        },
    ),
    (
        "stands again, unsold",
        [Scene.fall, Scene.rise],
        {"standing_notice to Odile", "standing_notice to Pim"},
    ),
    (
        "stands again, paid",
        [Scene.sell, Scene.fall, Scene.rise],
        {"disclosure to Bela", "standing_notice to Odile", "standing_notice to Pim"},
    ),
    ("acknowledged", [Scene.sell, Scene.fall, acknowledge], set()),
    ("objected", [object_to_it], {"dispute_opened to Odile", "dispute_opened to Pim"}),
    (
        "stated",
        [Scene.sell, Scene.fall, state],
        {"statement_made to Pim", "statement_made_buyer to Bela"},
    ),
    ("found", [Scene.sell, Scene.fall, find], {"finding to Bela"}),
    ("found, unsold", [object_to_it, find], set()),
]


@told_once
def scene(world: World) -> Scene:
    animal = world.verified("V1")
    world.make_partner(world.pim)
    Letter.objects.all().delete()
    return Scene(world, animal, world.draft(animal))


@pytest.mark.parametrize(
    ("events", "owed"), [row[1:] for row in OWED], ids=[row[0] for row in OWED]
)
def test_what_each_event_owes_and_to_whom(
    scene: Scene, events: list[Callable[[Scene], None]], owed: set[str]
) -> None:
    before: set[UUID] = set()
    for event in events:
        before = set(Letter.objects.values_list("pk", flat=True))
        event(scene)
    new = Letter.objects.exclude(pk__in=before)
    assert sorted(f"{one.kind} to {one.context['to_name'].split()[0]}" for one in new) == sorted(
        owed
    )
    world = scene.world
    people = {
        "Odile": (world.odile.pk, world.odile.email),
        "Pim": (world.pim.pk, world.pim.email),
        "Greta": (world.greta.pk, world.greta.email),
        "Stan": (world.stan.pk, world.stan.email),
        "Bela": (scene.sale.buyer_id, "bela@buyers.example"),
    }
    for one in new:
        assert (one.recipient, one.to) == people[one.context["to_name"].split()[0]]


def test_the_buyers_letters_carry_the_way_in_of_the_time(scene: Scene) -> None:
    """The offer's link with the offer, a lasting one from the payment on."""
    scene.sell()
    links = {str(one.pk): one.purpose for one in OfferLink.objects.all()}
    offer = Letter.objects.get(kind="offer")
    paid = Letter.objects.get(kind="payment_recorded")
    assert links[offer.context["link"]] == "offer"
    assert links[paid.context["link"]] == "disclosure"
    scene.fall()
    letter = Letter.objects.get(kind="disclosure")
    newer = OfferLink.objects.get(pk=letter.context["link"])
    assert (newer.purpose, newer.sale) == ("disclosure", scene.sale)


def test_what_an_offer_and_a_disclosure_say(scene: Scene) -> None:
    scene.sell()
    offer = Letter.objects.get(kind="offer")
    made = offer_in_force(scene.sale)
    assert made is not None
    assert {name: offer.context[name] for name in ("recheck_days", "remedy", "expires")} == {
        "recheck_days": 14, "remedy": "refund", "expires": made.body["expires"],
    }  # fmt: skip
    assert (offer.cause, offer.context["receipt"]) == (made.pk, str(made.pk))
    assert offer.context["represents"][0]["label"] == "verified male"
    assert offer.context["represents"][0]["animal"]["id"] == str(scene.animal.pk)
    scene.fall()
    letter, owed = Letter.objects.get(kind="disclosure"), Disclosure.objects.get()
    said = letter.context
    assert (letter.cause, said["disclosure"], said["position"]) == (
        owed.pk,
        str(owed.pk),
        owed.position,
    )
    assert (said["was"]["label"], said["now"]["label"]) == ("verified male", "contested")
    assert (said["change"], said["cause_kind"]) == ("fell", "call_made")
    assert (said["recheck_days"], said["remedy"]) == (14, "refund")
    assert said["represented_at"] == made.at.isoformat()
    assert said["seller_email"] == scene.world.odile.email
    assert (said["seller_name"], said["buyer_name"]) == ("Odile Marten", "Bela Novak")


def test_a_fall_mended_before_the_letter_left_is_told_in_one(scene: Scene) -> None:
    scene.sell()
    scene.fall()
    scene.rise()
    letters = Letter.objects.filter(kind="disclosure")  # both made in the same moment
    first, second = sorted(letters, key=lambda one: one.context["position"])
    assert (first.state, second.state) == ("joined", "waiting")
    (earlier,) = replaced_by(second)
    assert (earlier.context["change"], earlier.context["now"]["label"]) == ("fell", "contested")
    assert second.context["change"] == "restored"
