"""Receipts: who gets which, and that each holds without the server that gave it.

Checked with nothing but the log's public key; how receipts are read and proved is itself
checked against the C2SP documents and RFC 9162 in `tests/domain/translog`.
"""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from django.conf import settings
from django.db import connection
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.api.stage import set_stage
from tests.ledger.growing import STATED
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import NotFound
from scalewitness.domain.facts import BODIES
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.receipts import Proven, prove, read_receipt
from scalewitness.ledger.models import Checkpoint, Entry
from scalewitness.mail.services.links import link_token
from scalewitness.receipts.queries import ANIMAL_KINDS, RULES, entry_seen
from scalewitness.sales.models import OfferLink, Sale

pytestmark = pytest.mark.one_in(2)


def proven(answer: Answer) -> Proven:
    """What the file shows to someone who holds the log's public key and nothing else."""
    assert answer.status == 200, answer
    assert answer.headers["Content-Type"] == "text/plain; charset=utf-8"
    found = prove(
        read_receipt(answer.body.encode()), read_signer(settings.LOG_SIGNING_KEY).verifier
    )
    name = f"scalewitness-{found.position}.receipt"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{name}"'
    return found


def tamper(table: str, change: str) -> None:
    """What a superuser can do: switch the guard off, change, switch it on."""
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER ALL")
        cursor.execute(f"UPDATE {table} SET {change}")  # noqa: S608
        cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER ALL")


def token(sale: Sale, purpose: str) -> str:
    links = OfferLink.objects.filter(sale=sale, purpose=purpose, revoked_at=None)
    return link_token(links.order_by("-pk")[0].pk)


def facts_about(thing: UUID, *kinds: str) -> list[UUID]:
    entries = Entry.objects.filter(about=thing).order_by("position")
    return list((entries.filter(kind__in=kinds) if kinds else entries).values_list("fact", flat=1))


def test_every_accepted_fact_says_where_its_receipt_is(odile: Api, animal: Animal) -> None:
    sent = fact(probing("female", "A-1"))
    answer = odile.post(f"/animals/{animal.pk}/calls", sent)
    assert answer.body["receipt"] == f"/api/v1/receipts/{sent['id']}"
    again = odile.post(f"/animals/{animal.pk}/calls", sent)
    assert again.body["receipt"] == answer.body["receipt"]
    found = proven(odile.get(f"/receipts/{sent['id']}"))
    assert (found.entry.id, found.position) == (sent["id"], answer.body["position"])
    assert found.entry.body["conclusion"] == "female"
    assert found.checkpoint.size > found.position


def test_a_checkpoint_is_signed_only_where_none_covers_the_entry(
    odile: Api, animal: Animal
) -> None:
    first, second = facts_about(animal.pk)
    assert proven(odile.get(f"/receipts/{first}")).checkpoint.size == 7 + STATED
    odile.post(f"/animals/{animal.pk}/calls", sent := fact(probing("female", "A-1")))
    assert proven(odile.get(f"/receipts/{second}")).checkpoint.size == 7 + STATED
    assert Checkpoint.objects.count() == 1
    assert proven(odile.get(f"/receipts/{sent['id']}")).checkpoint.size == 9 + 2 * STATED
    assert Checkpoint.objects.count() == 2


def test_every_kind_of_fact_has_its_rule() -> None:
    assert RULES.keys() | ANIMAL_KINDS == BODIES.keys()


# --- who may have which


def test_a_blind_guest_gets_no_receipt_before_their_own_call(world: World) -> None:
    animal = world.verified("V-1")
    present(world)
    visit = world.visit(world.greta, animal)
    guest, others = Api(world.greta), facts_about(animal.pk)
    assert len(others) > 6
    missing = guest.get(f"/receipts/{uuid4()}").body
    for one in others:
        answer = guest.get(f"/receipts/{one}")
        assert (answer.status, answer.body) == (404, missing)
    sent = fact(probing("male", "V-1") | {"visit": str(visit)})
    assert guest.post(f"/animals/{animal.pk}/calls", sent).status == 201
    for one in [*others, sent["id"]]:
        proven(guest.get(f"/receipts/{one}"))


def test_whoever_lost_sight_keeps_the_receipts_of_their_own_facts(world: World) -> None:
    animal = world.verified("V-1")
    visit = world.visit(world.greta, animal, days=1)
    call = world.call(world.greta, animal, "male", visit=visit).id
    present(world)
    guest = Api(world.greta)
    proven(guest.get(f"/receipts/{call}"))
    others = set(facts_about(animal.pk)) - {UUID(call)}
    assert {guest.get(f"/receipts/{one}").status for one in others} == {404}


def test_no_receipt_names_a_parent_one_is_blind_to(world: World) -> None:
    present(world)
    dam, young = world.animal("D-1"), world.animal("Y-1", dam=None)
    body = {"species": "python_regius", "dam": str(dam.pk)}
    world.say(world.odile, "particulars_corrected", young.pk, body)
    world.say(world.odile, "particulars_corrected", young.pk, {"species": "python_regius"})
    visit = world.visit(world.greta, dam, young)
    world.call(world.greta, young, "male", visit=visit)
    guest = Api(world.greta)
    with_dam, without = facts_about(young.pk, "particulars_corrected")
    assert guest.get(f"/receipts/{with_dam}").code == "not_found"
    proven(guest.get(f"/receipts/{without}"))
    world.call(world.greta, dam, "female", visit=visit)
    assert proven(guest.get(f"/receipts/{with_dam}")).entry.body["dam"] == str(dam.pk)


@pytest.mark.one_in(1)
def test_everyone_gets_theirs_and_no_others(db: None) -> None:
    """Over the whole log of the stage: the set of entries open to each."""
    stage = set_stage()
    entries = list(Entry.objects.all())
    collection, visit = UUID(stage.ids["collection"]), UUID(stage.ids["visit"])
    about_animals = {UUID(stage.ids[name]) for name in ("sold", "blind", "other")}
    about_animals |= {one.about for one in entries if one.kind == "animal_registered" and one.about}
    dispute, invitation = UUID(stage.ids["dispute"]), UUID(stage.ids["invitation"])
    disclosure = UUID(stage.ids["disclosure"])

    def open_to(name: str) -> set[UUID]:
        keeper, found = UUID(stage.ids[f"keeper_{name}"]), set()
        for one in entries:
            try:
                found.add(entry_seen(keeper, one.fact, stage.world.now).fact)
            except NotFound:
                continue
        return found

    def about(*things: UUID) -> set[UUID]:
        return {one.fact for one in entries if one.about in things}

    def said(name: str) -> set[UUID]:
        return {one.fact for one in entries if str(one.by) == stage.ids[f"keeper_{name}"]}

    def let_in(name: str) -> set[UUID]:
        grants = [one for one in entries if one.about == collection]
        to = stage.ids[f"keeper_{name}"]
        return {one.fact for one in grants if to in bytes(one.leaf).decode()}

    bought = Sale.objects.filter(animals=stage.ids["bought"]).values_list("pk", flat=True)
    nobodys = {"founder_named", "keeper_vouched", "map_root"}
    of_all = {one.fact for one in entries if one.kind not in nobodys}
    everything = of_all - about(*bought)  # its seller keeps that sale
    assert open_to("owner") == everything
    assert open_to("partner") == everything - (about(collection) - let_in("partner"))
    assert open_to("viewer") == about(*about_animals, dispute) | let_in("viewer")
    assert open_to("guest_before") == said("guest_before") | about(visit)
    assert said("guest_before") < about(visit)
    assert open_to("stranger") == about(invitation)
    assert open_to("buyer") == about(disclosure) | said("buyer")


# --- a buyer's link


@pytest.fixture
def fallen(world: World) -> Sale:
    """A verified male, sold; a blind stranger then found a female."""
    animal = world.verified("V-1")
    sale = world.sold(animal)
    world.pass_time(days=1)
    world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    present(world)
    return sale


def test_a_buyer_gets_what_the_link_shows_and_no_more(
    world: World, fallen: Sale, nobody: Api
) -> None:
    animal, other = fallen.animals.get(), world.animal("O-1")
    elsewhere = world.call(world.odile, other, "female").id
    path = f"/offers/{token(fallen, 'disclosure')}/receipts"
    shown = [
        *facts_about(fallen.pk),
        *facts_about(animal.pk, "call_made"),
        fallen.steps.get(kind="offer_made").pk,
        Entry.objects.get(kind="disclosure_owed").fact,
        animal.standings.order_by("-position")[0].pk,
        animal.standings.get(
            position=fallen.steps.get(kind="offer_made").body["represents"][0]["position"]
        ).pk,
    ]
    for one in shown:
        proven(nobody.get(f"{path}/{one}"))
    hidden = [
        *facts_about(animal.pk, "animal_registered", "identifier_assigned"),
        animal.standings.order_by("position")[0].pk,
        elsewhere,
        uuid4(),
        *Entry.objects.filter(kind__startswith="visit").values_list("fact", flat=True)[:2],
        Entry.objects.get(kind="dispute_opened").fact,
    ]
    assert len(hidden) == 8
    for one in hidden:
        assert nobody.get(f"{path}/{one}").code == "not_found", one
    assert nobody.get(f"/offers/forged/receipts/{shown[0]}").code == "link_gone"


def test_disclosures_come_by_the_links_that_were_sent_with_them(
    world: World, fallen: Sale, nobody: Api
) -> None:
    OfferLink.objects.update(expires_at=timezone.now() + timedelta(days=1))
    owed = Entry.objects.get(kind="disclosure_owed").fact
    assert nobody.get(f"/offers/{token(fallen, 'offer')}/receipts/{owed}").code == "not_found"


def test_a_buyers_answer_leads_to_its_receipt(world: World, nobody: Api) -> None:
    animal = world.verified("V-1")
    present(world)
    sale = world.draft(animal)
    world.offer(sale)
    path = f"/offers/{token(sale, 'offer')}"
    read = nobody.get(path).body
    seen = read["seen"]
    sent = {"id": str(new_id(world.now)), "seen": seen, "shown": read["shown"]}
    answer = nobody.post(f"{path}/confirmation", sent)
    assert answer.body["receipt"] == f"/api/v1{path}/receipts/{sent['id']}"
    found = proven(nobody.get(f"{path}/receipts/{sent['id']}"))
    assert (found.entry.kind, found.entry.body["seen"]) == ("sale_confirmed", seen)


# --- a log that cannot vouch


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("ledger_entry", "leaf = convert_to(replace(convert_from(leaf, 'UTF8'), 'A-1', 'A-2'),"
         " 'UTF8') WHERE position = 6"),
        ("ledger_entry", "leaf = 'not an entry' WHERE position = 6"),
        ("ledger_entry", "leaf_hash = sha256('x') WHERE position = 0"),
        ("ledger_checkpoint", f"note = replace(note, E'\\n{7 + STATED}\\n', E'\\n9\\n')"),
        ("ledger_head", "size = 1"),
    ],
    ids=["an entry", "an entry's form", "a hash", "a checkpoint", "the head"],
)  # fmt: skip
def test_no_receipt_is_given_out_that_would_not_hold(
    odile: Api, animal: Animal, table: str, change: str
) -> None:
    first, second = facts_about(animal.pk)
    proven(odile.get(f"/receipts/{first}"))
    if table == "ledger_head":
        odile.post(f"/animals/{animal.pk}/calls", sent := fact(probing("female", "A-1")))
        second = sent["id"]
    tamper(table, change)
    answer = odile.get(f"/receipts/{second}")
    assert (answer.status, answer.code) == (503, "log_contradicted")
