"""Personal data can be erased: it is in no table afterwards, and every proof still holds.

What no table may hold is searched for by the database itself, in every column of every
table as text and as bytes.
"""

from datetime import timedelta
from io import StringIO
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.models.functions import Now
from django.test import Client
from django.utils import timezone
from tests.everything import a_text_of
from tests.intake.test_late import late_visit
from tests.intake.test_reports import endoscopy, entered
from tests.world import PASSWORD, World, keeper, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.domain.erasure import ERASED_NAME
from scalewitness.domain.errors import NotFound, NotNow, Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.receipts import Receipt, prove, read_receipt
from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import enrol_device
from scalewitness.intake.erasure import close_account, erase_buyers, erase_own_texts
from scalewitness.intake.invitations import invite_by_letter
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.ledger.queries.tree import place_proof
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.letters.chasing import chase
from scalewitness.letters.late import remind_of_late_calls
from scalewitness.letters.reports import ask_practitioners
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.delivering import deliver_due
from scalewitness.people.models import Device, Keeper
from scalewitness.people.queries import names_of
from scalewitness.people.services import keeper_signing_in, name_practitioner
from scalewitness.sales.models import Buyer, Sale
from scalewitness.visits.models import InvitationByLetter

pytestmark = pytest.mark.django_db


def tables_with(needle: str) -> set[str]:
    """The tables in which any row holds this text anywhere, in whatever case."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        tables = [name for (name,) in cursor.fetchall()]
        found = set()
        for table in tables:
            cursor.execute(
                f"SELECT 1 FROM {table} AS row WHERE row::text ILIKE %s OR row::text ILIKE %s LIMIT 1",  # noqa: E501, S608
                [f"%{needle}%", f"%{needle.encode().hex()}%"],
            )
            found |= {table} if cursor.fetchone() else set()
    return found


def receipt_of(fact: UUID, world: World) -> bytes:
    """A receipt as it is given out: text, to be kept by whoever is given it."""
    signed = sign_checkpoint(world.now)
    entry = Entry.objects.get(fact=fact)
    proof = tuple(place_proof(entry.position, signed.size))
    note = read_note(signed.note)
    return str(Receipt(bytes(entry.leaf), entry.position, proof, note)).encode()


def fsck() -> str:
    out = StringIO()
    call_command("fsck", stdout=out)
    return out.getvalue()


def erase(*what: str) -> str:
    out = StringIO()
    call_command("erase", *what, stdout=out)
    return out.getvalue()


# --- texts ----------------------------------------------------------------------------


def test_a_text_goes_and_every_proof_of_it_holds(world: World) -> None:
    fact, note = a_text_of(world)
    kept = receipt_of(fact, world)
    assert tables_with(note) == {"ledger_text"}
    assert erase("texts", str(fact)) == "1 texts erased\n"
    assert tables_with(note) == set()
    assert "no difference" in fsck()
    proven = prove(read_receipt(kept), log_signer().verifier)
    assert proven.entry.id == str(fact)
    assert len(proven.entry.body["note"]) == 64
    assert read_receipt(receipt_of(fact, world)).entry == read_receipt(kept).entry
    call_command("replay", stdout=StringIO())


def erasures() -> list[tuple[UUID | None, dict[str, str]]]:
    """What the log says of each: of what or whom, and its body."""
    stated = Entry.objects.filter(kind="data_erased", by=None).order_by("position")
    return [(one.about, leaf_of(one).body) for one in stated]


def test_an_erasure_is_a_fact_that_never_tells_what_went(world: World) -> None:
    fact, note = a_text_of(world)
    assert erase_own_texts(fact, Actor(keeper=world.odile.pk), world.now) == 1
    assert erase_own_texts(fact, Actor(keeper=world.odile.pk), world.now) == 0
    assert erasures() == [(fact, {"what": "text", "wish": "author"})]
    assert tables_with(note) == set()


def test_an_operator_who_erases_of_their_own_accord_says_so(world: World) -> None:
    fact, _ = a_text_of(world)
    erase("texts", str(fact), "--by-operator")
    assert erasures() == [(fact, {"what": "text", "wish": "operator"})]


def test_whoever_closes_their_account_is_told_of_by_their_id_alone(world: World) -> None:
    a_text_of(world)
    erase("keeper", world.odile.email, "--texts")
    name = {"what": "name", "wish": "author"}
    wrote = {"what": "all_they_wrote", "wish": "author"}
    assert erasures() == [(world.odile.pk, name), (world.odile.pk, wrote)]


def test_only_its_author_may_erase_a_text(world: World) -> None:
    fact, note = a_text_of(world)
    for who in (Actor(keeper=world.pim.pk), Actor(buyer=new_id()), Actor()):
        with pytest.raises(NotFound):
            erase_own_texts(fact, who, world.now)
    with pytest.raises(NotFound):
        erase_own_texts(new_id(), Actor(keeper=world.odile.pk), world.now)
    assert tables_with(note) == {"ledger_text"}
    assert erase_own_texts(fact, Actor(keeper=world.odile.pk), world.now) == 1
    assert erase_own_texts(fact, Actor(keeper=world.odile.pk), world.now) == 0
    assert tables_with(note) == set()


def test_what_the_record_itself_said_is_nobody_s(world: World) -> None:
    a_text_of(world)
    standing = Entry.objects.get(kind="standing_changed")
    with pytest.raises(NotFound):
        erase_own_texts(standing.fact, Actor(), world.now)


def test_the_text_of_a_call_that_still_waits_for_its_host(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now
    world.pass_time(days=16)
    body = probing("male", "A1") | {"visit": str(visit)}
    texts = {"note": "Held up by the ferry from Lerwick."}
    item = world.item("call_made", animal.pk, body, at=examined, texts=texts)
    (held,) = world.push(world.greta, item)
    assert held.status == "held"
    assert tables_with("Lerwick") == {"ledger_text"}
    assert erase_own_texts(UUID(held.id), Actor(keeper=world.greta.pk), world.now) == 1
    world.say(world.odile, "late_call_decided", animal.pk, {"held": held.id, "admitted": True})
    assert tables_with("Lerwick") == set()
    assert "no difference" in fsck()


# --- a veterinarian's name ------------------------------------------------------------


def test_a_practitioner_s_name_goes(world: World) -> None:
    named = name_practitioner(world.odile, new_id(), "Dr Isolde Quist")
    animal = world.animal("A1")
    reported = {"role": "veterinarian", "who": str(named.pk)}
    world.say(world.odile, "call_made", animal.pk, probing("male", "A1") | {"reported": reported})
    assert tables_with("Quist") == {"people_practitioner"}
    erase("practitioner", str(named.pk))
    assert tables_with("Quist") == set()
    assert names_of([named.pk]) == {named.pk: ERASED_NAME}
    assert "no difference" in fsck()


# --- a buyer --------------------------------------------------------------------------


def sold_and_fallen(world: World) -> Sale:
    """Sold as male, handed over, then found female: a disclosure is owed."""
    animal = world.verified("V1")
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    contrary(world, animal)
    return sale


def contrary(world: World, animal: Animal) -> None:
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))


def acknowledge(world: World, sale: Sale) -> None:
    for owed in Disclosure.objects.filter(sale=sale, acknowledgement=None):
        item = world.item("disclosure_acknowledged", owed.pk, {})
        accept_one(item, world.buyer(sale), world.now)


def test_nobody_is_forgotten_in_the_middle_of_a_sale(world: World) -> None:
    sale = world.sold(world.verified("V1"))
    with pytest.raises(NotNow, match="still going on"):
        erase_buyers([sale.buyer], world.now, "author")
    with pytest.raises(NotNow, match="still going on"):
        close_account(world.odile, world.now)
    with pytest.raises(CommandError, match="Not erased"):
        erase("buyer", "bela@buyers.example")
    assert "sales_buyer" in tables_with("bela@buyers.example")


def test_an_owed_disclosure_keeps_its_address_until_acknowledged(world: World) -> None:
    sale = sold_and_fallen(world)
    with pytest.raises(NotNow, match="still open"):
        erase_buyers([sale.buyer], world.now, "author")
    letter = Letter.objects.get(kind="disclosure")
    assert (letter.state, letter.to) == (Letter.State.WAITING, "bela@buyers.example")
    acknowledge(world, sale)
    assert erase("buyer", "Bela@Buyers.example") == "name and address erased from 1 purchases\n"


def test_a_buyer_s_name_and_address_are_nowhere_afterwards(world: World) -> None:
    sale = sold_and_fallen(world)
    acknowledge(world, sale)
    places = tables_with("bela@buyers.example") | tables_with("Bela Novak")
    assert places == {"sales_buyer", "mail_letter"}
    seller = Letter.objects.filter(recipient=world.odile.pk, context__sale=str(sale.pk))
    assert seller[0].context["to_name"] == "Odile Marten"
    erase("buyer", str(sale.buyer_id))
    assert tables_with("bela@buyers.example") == tables_with("Bela Novak") == set()
    assert seller[0].context["to_name"] == "Odile Marten"
    assert seller[0].context["buyer_name"] == ERASED_NAME
    assert "no difference" in fsck()


def test_what_is_owed_later_is_recorded_as_undeliverable(world: World) -> None:
    """The duty is not lost and not hidden; there is only nobody to write to."""
    sale = sold_and_fallen(world)
    acknowledge(world, sale)
    erase_buyers([sale.buyer], world.now, "author")
    animal = sale.animals.get()
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    wrong = animal.calls.get(by=world.greta.pk)
    world.find(Dispute.objects.get(), wrong)
    later = Disclosure.objects.filter(sale=sale, acknowledgement=None)
    assert later.exists()
    letter = Letter.objects.get(cause=later[0].pk)
    assert letter.state == Letter.State.FAILED
    assert "erased" in letter.last_error
    theirs = Letter.objects.filter(recipient=sale.buyer_id)
    assert not theirs.filter(state__in=[Letter.State.WAITING, Letter.State.SENDING]).exists()


# --- a keeper -------------------------------------------------------------------------


def test_closing_an_account(world: World, client: Client) -> None:
    animal = world.animal("A1")
    texts = {"note": "Written at my kitchen table."}
    made = world.call(world.odile, animal, "male", texts=texts)
    kept = receipt_of(UUID(made.id), world)
    device, token = enrol_device(world.odile, "Odile's old phone", world.now)
    client.force_login(world.odile)
    world.visit(world.greta, animal)
    assert {"people_keeper", "mail_letter", "people_device"} <= tables_with("Odile")
    assert "mail_letter" in tables_with("Odile's old phone"), "told when it was new"
    erase("keeper", world.odile.email, "--texts")
    for needle in ("Odile", "odile.marten", "kitchen table"):
        assert tables_with(needle) == set(), needle
    device = Device.objects.get(pk=device.pk)
    assert device.revoked_at is not None
    assert device.token is None
    mine = client.get("/api/v1/keepers/me", headers={"Authorization": f"Bearer {token}"})
    assert mine.status_code == 401
    assert client.get("/animals").status_code == 302
    with pytest.raises(Refused):
        keeper_signing_in("odile.marten@keepers.example", PASSWORD)
    keeper = Keeper.objects.get(pk=world.odile.pk)
    assert not keeper.is_active
    assert not keeper.has_usable_password()
    assert names_of([keeper.pk]) == {keeper.pk: ERASED_NAME}
    assert prove(read_receipt(kept), log_signer().verifier).entry.by == str(keeper.pk)
    assert "no difference" in fsck()
    erase("keeper", str(keeper.pk))  # again: nothing changes


def test_a_letter_to_a_practice_forgets_who_sent_the_report(world: World) -> None:
    vet = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    entered(world, vet, keeper("Ilse Brandt"))
    endoscopy(world, world.animal("A1"), vet)
    assert ask_practitioners(world.now) == 1
    letter = Letter.objects.get(kind="report_to_answer")
    assert "Sent by: Odile Marten." in compose(letter).body
    erase("keeper", world.odile.email)
    assert tables_with("Odile") == set()
    letter.refresh_from_db()
    assert f"Sent by: {ERASED_NAME}." in compose(letter).body


@pytest.mark.parametrize("who", ["greta", "odile"])
def test_letters_of_a_late_check_forget_guest_and_host(world: World, who: str) -> None:
    animal = world.animal("A1")
    _, call = late_visit(world, animal)
    (held,) = world.push(world.greta, call)
    world.pass_time(days=8)
    remind_of_late_calls(world.now)
    body = {"held": held.id, "admitted": True}
    world.say(world.odile, "late_call_decided", animal.pk, body)
    leaves, stays = getattr(world, who), world.odile if who == "greta" else world.greta
    assert "mail_letter" in tables_with(leaves.name)
    close_account(leaves, world.now)
    assert tables_with(leaves.name) == set()
    assert "mail_letter" in tables_with(stays.name)


@pytest.mark.parametrize("who", ["buyer", "seller"])
def test_letters_that_chase_a_disclosure_or_tell_of_an_address_forget_both_sides(
    world: World, who: str
) -> None:
    sale = sold_and_fallen(world)
    send_elsewhere(sale, "bela@elsewhere.example", world.now, seller=None)
    Letter.objects.filter(kind="disclosure").update(state="sent", sent_at=world.now)
    chase(world.now + timedelta(days=30))
    told = set(Letter.objects.values_list("kind", flat=True))
    assert {"disclosure_reminder", "disclosure_silent", "address_changed"} <= told
    acknowledge(world, sale)
    name = "Bela Novak" if who == "buyer" else "Odile Marten"
    assert "mail_letter" in tables_with(name)
    if who == "buyer":
        erase_buyers([sale.buyer], world.now, "author")
    else:
        close_account(world.odile, world.now)
    assert tables_with(name) == set()


def test_a_seller_stays_reachable_until_their_disclosure_has_gone_out(world: World) -> None:
    sale = sold_and_fallen(world)
    with pytest.raises(NotNow, match="not gone out"):
        close_account(world.odile, world.now)
    Letter.objects.filter(kind="disclosure").update(state=Letter.State.SENT, sent_at=Now())
    close_account(world.odile, world.now)
    assert tables_with("odile.marten") == tables_with("Odile Marten") == set()
    letter = Letter.objects.get(kind="disclosure")
    assert (letter.context["seller_name"], letter.to) == (ERASED_NAME, "bela@buyers.example")
    assert Buyer.objects.get(pk=sale.buyer_id).name == "Bela Novak"


def test_letters_to_a_closed_account_are_given_up(world: World) -> None:
    world.invite(world.greta, world.animal("A1"))
    close_account(world.greta, world.now)
    letter = Letter.objects.get(kind="visit_invitation")
    assert letter.state == Letter.State.FAILED
    assert deliver_due(timezone.now()) == 0
    assert tables_with("Greta") == set()


@pytest.mark.parametrize("who", ["host", "guest"])
def test_invitations_by_letter_go_with_either_sides_account(world: World, who: str) -> None:
    body = {
        "collection": str(world.collection.pk),
        "animals": [str(world.animal("A1").pk)],
        "opens": rfc3339(world.now),
        "closes": rfc3339(world.now + timedelta(days=3)),
    }
    invite_by_letter(new_id(world.now), world.greta.email, body, world.odile, world.now)
    assert Letter.objects.filter(kind="visit_by_letter").exists()
    close_account(world.odile if who == "host" else world.greta, world.now)
    assert not InvitationByLetter.objects.exists()
    assert tables_with("Odile" if who == "host" else "greta.lund") == set()


@pytest.mark.parametrize("what", ["texts", "practitioner", "buyer", "keeper"])
def test_whoever_is_unknown_is_said_to_be(world: World, what: str) -> None:
    with pytest.raises(CommandError):
        erase(what, "nobody@nowhere.example")
