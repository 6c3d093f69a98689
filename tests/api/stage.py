"""One verified, sold animal in dispute, one blind visit, and everyone around them."""

from dataclasses import dataclass, field
from datetime import timedelta
from hashlib import sha256
from typing import Any
from uuid import UUID

from django.core.cache import cache
from django.test import Client
from django.utils import timezone
from tests.bundles import ELSEWHERE, quote
from tests.pictures import body_of, plain_file
from tests.world import World, keeper, new_id, probing, vouched

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.breeding.queries.calendar import link_in_force
from scalewitness.breeding.services import make_calendar_link
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.tables.files import read_table
from scalewitness.importing.services.bringing import bring
from scalewitness.intake.batch import Actor
from scalewitness.intake.invitations import invite_by_letter
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.ledger.models import Entry
from scalewitness.mail.services.links import link_token, sign_out_token
from scalewitness.people.models import Grant, Keeper
from scalewitness.people.services import (
    enrol_device,
    enter_address,
    name_practitioner,
    open_practitioner_link,
)
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.services import draft_sale

PERSONAS = (
    "owner",
    "partner",
    "viewer",
    "guest_before",
    "guest_after",
    "former_guest",
    "former_keeper",
    "buyer",
    "stranger",
    "anonymous",
)
"""``buyer`` has an account and is the buyer of the sale; a buyer without one comes by the
emailed link, which opens for whoever holds the token."""

NAMES = {"V1": "Duchess Marigold", "B1": "Lord Basil", "O1": "Sir Oregano", "D1": "Madam Dill"}
"""Names that tell a sex, as keepers do give them."""
LOOK = "washed out, as all her sisters are"


@dataclass
class Stage:
    """``ids`` fill the paths and bodies of the table; ``secrets`` are what a blind guest
    must never be given."""

    world: World
    ids: dict[str, str] = field(default_factory=dict)
    clients: dict[str, Client] = field(default_factory=dict)
    secrets: set[str] = field(default_factory=set)

    def looked(self) -> dict[str, Any]:
        """What a buyer has seen who looks right now, as they send it by their link."""
        seen = self.world.look(Sale.objects.get(pk=self.ids["offered"]))
        seen["shown"]["animals"][0]["animal"] = self.ids["other"]
        return {"seen": seen["seen"], "shown": seen["shown"]}


def invited_by_letter(world: World, to: Keeper, animal: Animal) -> str:
    """An invitation of Odile's to an address, not taken up."""
    now, id = timezone.now(), new_id(timezone.now())
    body = {
        "collection": str(world.collection.pk),
        "animals": [str(animal.pk)],
        "opens": rfc3339(now),
        "closes": rfc3339(now + timedelta(days=9)),
    }
    invite_by_letter(id, to.email, body, world.odile, now)
    return str(id)


def set_stage(house: str = "") -> Stage:
    """``house``: a second name of everyone, so that another such house can stand beside."""
    cache.clear()
    world = _world(house)
    sold, blind = (
        _named(world, world.verified("V1")),
        _named(world, world.animal("B1", traits=["coral"])),
    )
    other, drafted = _named(world, world.animal("O1")), _named(world, world.animal("D1"))
    world.call(world.odile, blind, "female")
    photo, offered_photo = (_photo(world, animal) for animal in (blind, other))
    sale = world.sold(sold, email=world.stan.email)
    names = ("Fern Former", "Anna After", "Vic Viewer", "Sam Stranger", "Ilka Earlier")
    former, after, viewer, stranger, seller = (_someone(name, house) for name in names)
    world.visit(former, blind, sold, days=1)
    world.pass_time(days=30)
    world.make_partner(world.pim)
    world.say(
        world.odile,
        "grant_given",
        world.collection.pk,
        {"to": str(viewer.pk), "role": "viewer"},
    )
    visit = world.visit(world.greta, blind, sold, days=60)
    own = world.visit(vouched(after, world.now), blind, sold, days=60)
    world.call(after, sold, "female", visit=own)
    world.call(after, blind, "female", visit=own)
    pairing = _paired(world, other, blind)
    offered, draft = world.draft(other), world.draft(drafted)
    coded = world.draft(world.animal("C1"), by_code=True)
    young = world.animal("Y1", hatched="2026-08-01", sire=str(other.pk), dam=str(drafted.pk))
    bought = _bought(world, seller)
    for one in (coded, offered):
        world.offer(one, expires=rfc3339(timezone.now() + timedelta(days=5)))
    disclosure = Disclosure.objects.get(sale=sale)
    stage = Stage(world)
    stage.ids = {
        "sold": str(sold.pk),
        "blind": str(blind.pk),
        "other": str(other.pk),
        "young": str(young.pk),
        "bought": str(bought.pk),
        "collection": str(world.collection.pk),
        **_reported(world),
        "laid": _laid(world, blind),
        "visit": str(visit),
        "upload": brought(world),
        "visit_after": str(own),
        "invitation": str(world.invite(stranger, blind, days=60)),
        "by_letter": invited_by_letter(world, viewer, blind),
        "call": str(sold.calls.filter(by=world.odile.pk).get().pk),
        "call_after": str(sold.calls.filter(by=after.pk).get().pk),
        "sale": str(sale.pk),
        "offered": str(offered.pk),
        "draft": str(draft.pk),
        "photo": photo,
        "offered_photo": offered_photo,
        "disclosure": str(disclosure.pk),
        "dispute": str(Dispute.objects.get(animal=sold).pk),
        "pairing": str(pairing),
        "year": "2027",
        "season_note": _noted(world, pairing),
        "calendar_token": _followed(world.odile),
        "trait": _trait(world, blind),
        "quote": _quoted(world, blind),
        "sheet": str(new_id(world.now)),
        "grant": str(Grant.objects.get(to=viewer).pk),
        "held": _held(world, former, blind),
        "standing": str(sold.standings.order_by("-position")[0].pk),
        "offer_fact": str(sale.steps.get(kind="offer_made").pk),
        "offered_fact": str(offered.steps.get(kind="offer_made").pk),
        "disclosure_fact": str(Entry.objects.get(position=disclosure.position).fact),
        "offer_token": _token(offered, "offer"),
        "code_token": _token(coded, "offer"),
        "disclosure_token": _token(sale, "disclosure"),
        "sign_out_token": sign_out_token(world.odile.pk),
        "stranger": str(stranger.pk),
        "stranger_email": stranger.email,
    }
    people = {
        "owner": world.odile,
        "partner": world.pim,
        "viewer": viewer,
        "guest_before": world.greta,
        "guest_after": after,
        "former_guest": former,
        "former_keeper": seller,
        "buyer": world.stan,
        "stranger": stranger,
        "anonymous": None,
    }
    stage.clients = {name: _client(person, stage.ids, name) for name, person in people.items()}
    stage.secrets = {
        *NAMES.values(),
        "female row",
        photo,
        sha256(plain_file()).hexdigest(),
        *(str(call.pk) for animal in (sold, blind) for call in animal.calls.all()),
        *(str(standing.pk) for animal in (sold, blind) for standing in animal.standings.all()),
        stage.ids["sale"],
        stage.ids["disclosure"],
        stage.ids["dispute"],
        stage.ids["pairing"],
        stage.ids["trait"],
        stage.ids["quote"],
        ELSEWHERE.name,
        "coral_glow",
        LOOK,
    }
    return stage


def _world(house: str) -> World:
    return World(
        now=timezone.now() - timedelta(days=40),
        odile=_someone("Odile Marten", house),
        pim=_someone("Pim Alder", house),
        greta=_someone("Greta Lund", house),
        stan=_someone("Stan Okoro", house),
        house=house,
    )


def _someone(name: str, house: str) -> Keeper:
    return keeper(f"{name} {house}".strip())


def _paired(world: World, sire: Animal, dam: Animal) -> UUID:
    pairing = new_id(world.now)
    season = world.now.year + 1
    pair = {"sire": str(sire.pk), "dam": str(dam.pk), "season": season}
    world.say(world.odile, "pairing_planned", pairing, pair)
    return pairing


def _followed(keeper: Keeper) -> str:
    make_calendar_link(keeper.pk, new_id(), timezone.now())
    return str(link_in_force(keeper.pk))


def _noted(world: World, pairing: UUID) -> str:
    body = {"what": "put_together", "on": str(world.now.date())}
    return str(world.say(world.odile, "season_noted", pairing, body).id)


def _trait(world: World, animal: Animal) -> str:
    """Of one that goes with sex, beside one in the owner's words."""
    shown = {"says": "shows", "basis": "seen"}
    world.say(world.odile, "trait_stated", animal.pk, shown, texts={"words": LOOK})
    linked = {"locus": "coral_glow", "says": "carries_one", "basis": "parents"}
    return world.say(world.odile, "trait_stated", animal.pk, linked).id or ""


def _quoted(world: World, animal: Animal) -> str:
    """Another log's record of it, with its file."""
    return quote(world, world.odile, animal)


def _photo(world: World, animal: Animal) -> str:
    """The owner's, with its file."""
    outcome = world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file()))
    take_photo_file(UUID(outcome.id), plain_file(), Actor(keeper=world.odile.pk), world.now)
    return str(outcome.id)


def _reported(world: World) -> dict[str, str]:
    """An endoscopy in the name of a veterinarian, and her link to it."""
    now, named = timezone.now(), name_practitioner(world.odile, new_id(), "Dr Aldous")
    body = {"observed": {"method": "endoscopy", "seen": "ovaries"}}
    body |= {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    made = world.call(world.odile, world.animal("M1"), "female", body=body)
    entered = enter_address(named, "practice@vets.example", new_id(), now)
    link = open_practitioner_link(entered, new_id(), 0, now, timedelta(days=9))
    token = link_token(link.pk)
    return {"practitioner": str(named.pk), "reported": str(made.id), "reports_token": token}


def _laid(world: World, animal: Animal) -> str:
    """Eggs that only the owner saw, and a report about them."""
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = {"observed": seen, "document": "ab" * 32}
    return str(world.call(world.odile, animal, "female", body=body).id)


def brought(world: World) -> str:
    """A list that waits to be confirmed, with an answer open that is a day."""
    table = read_table(b"tag,species,weight\nU-1,bp,120\n")
    upload = bring(new_id(), world.odile, world.collection, "list.csv", table, timezone.now())
    return str(upload.pk)


def _named(world: World, animal: Animal) -> Animal:
    tag = animal.identifiers.get().code
    animal.name, animal.rack = NAMES[tag], "female row"
    animal.description = f"{animal.name}, bought in spring"
    animal._history_user, animal._history_date = world.odile, world.now
    animal.save()
    return animal


def _client(person: Keeper | None, ids: dict[str, str], name: str) -> Client:
    client = Client(raise_request_exception=False)
    if person is not None:
        device, token = enrol_device(person, "phone", timezone.now())
        ids[f"device_{name}"], ids[f"keeper_{name}"] = str(device.pk), str(person.pk)
        client.defaults["HTTP_AUTHORIZATION"] = f"Bearer {token}"
    return client


def _bought(world: World, seller: Keeper) -> Animal:
    """The owner bought it from somebody who had called on it before."""
    room = create_collection(seller, new_id(world.now), "The back room", world.now)
    animal = world.animal("F1", room=room)
    world.call(seller, animal, "male")
    sale = draft_sale(
        sale=new_id(world.now),
        collection=room,
        animals=[animal],
        buyer_id=new_id(world.now),
        buyer_name=world.odile.name,
        buyer_email=world.odile.email,
        by=seller,
        now=world.now,
    )
    world.pay(sale)
    world.say(seller, "handed_over", sale.pk)
    moved = {"to": str(world.collection.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(seller, "custody_changed", animal.pk, moved)
    return Animal.objects.get(pk=animal.pk)


def _held(world: World, former: Keeper, animal: Animal) -> str:
    """A call of the former guest that arrives more than 14 days after the visit."""
    visit = Grant.objects.get(to=former)
    body = probing("male", "B1") | {"visit": str(visit.pk)}
    outcome = world.say(former, "call_made", animal.pk, body, at=visit.opens + timedelta(hours=1))
    assert outcome.status == "held"
    return str(UUID(outcome.id))


def _token(sale: Sale, purpose: str) -> str:
    links = OfferLink.objects.filter(sale=sale, purpose=purpose, revoked_at=None)
    return link_token(links.order_by("-pk")[0].pk)
