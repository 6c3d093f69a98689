"""A story in which every kind of fact is said at least once, and every kind of text."""

from datetime import timedelta
from uuid import UUID

from tests.bundles import quote
from tests.families import family, result_of
from tests.learned import LITTLE, publish
from tests.pictures import body_of, plain_file
from tests.signing import endorsing, notice_of, paper, phone, rule, stop
from tests.world import World, keeper, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.intake.batch import Actor
from scalewitness.intake.closing import close_books
from scalewitness.intake.erasure import erase_texts_of
from scalewitness.intake.named_as_one import count_named, find_one_person
from scalewitness.intake.numbers import adopt_numbers
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.services import accept, accept_one
from scalewitness.intake.statements import (
    adopt_policy,
    find_deceit,
    lapse_offers,
    part_accounts,
    update_examiner_records,
)
from scalewitness.intake.succession import admit_loss
from scalewitness.ledger.models import Witness
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.mail.models import Letter
from scalewitness.people.services import enter_address, name_practitioner
from scalewitness.people.services.keys import note_shared_key
from scalewitness.sales.models import Sale

EARLIER = Signer("earlier.example/log", KeyType.ED25519, bytes(range(1, 33)))
"""The key the log was signed under before it lost entries; to be among the retired."""


def say_everything(world: World) -> World:
    """On a log that was signed under :data:`EARLIER` alone."""
    _lose(world)
    sold = world.verified("V1")
    _sell(world, sold)
    _fall(world, sold)
    _husbandry(world, world.animal("H1", hatched="2024-06-01", traits=["pied"]))
    _ends(world, world.animal("X1"))
    _linkage(world)
    _signed(world, world.animal("K1"))
    _traits(world, world.animal("G1"))
    pairing = _pairings(world)
    _visits(world, world.animal("W1"))
    _late(world, world.animal("L1"))
    _footing(world)
    _spoken_against(world, world.animal("B1"))
    _reported(world, world.animal("R1"))
    _compared(world, world.animal("C1"))
    _refiled(world, world.animal("M1"), world.animal("M2"))
    _mistyped(world, world.animal("T2"), world.animal("T3"))
    _twice(world, world.animal("T4"), world.animal("T5"))
    _offers(world, world.verified("V2"))
    _release(world, world.verified("V4"))
    _newcomers(world, world.verified("V3"))
    _claims(world)
    _one_person(world, world.animal("P1"))
    _on_its_own_account(world)
    _deceit(world)
    _named_as_one(world)
    _slip(world)
    _season(world, pairing)
    return world


def _lose(world: World) -> None:
    raise_fence("restored", world.now)
    admit_loss([], "The disk failed; the backup is of the night before.", world.now)


def _sell(world: World, animal: Animal) -> None:
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    arrived = {"animal": str(animal.pk), "answer": "cannot_tell"}
    accept_one(
        world.item("arrival_compared", sale.pk, arrived, texts=_note()),
        world.buyer(sale),
        world.now,
    )
    world.say(world.odile, "sale_closed", sale.pk)
    back = {"to": str(sale.collection_id), "why": "returned", "sale": str(sale.pk)}
    said = world.say(world.odile, "custody_changed", animal.pk, back)
    answer = {"move": said.id, "answer": "denied"}
    item = world.item("return_answered", sale.pk, answer, texts=_note())
    accept_one(item, world.buyer(sale), world.now)


def _release(world: World, animal: Animal) -> None:
    """Paid back by the seller's word, denied by the buyer, and agreed to in the end."""
    sale = world.sold(animal)
    asked = world.say(world.odile, "release_asked", sale.pk, {"why": "paid_back"}, texts=_note())
    for answer in ("release_denied", "release_agreed"):
        item = world.item(answer, sale.pk, {"asked": asked.id}, texts=_note())
        accept_one(item, world.buyer(sale), world.now)


def _fall(world: World, animal: Animal) -> None:
    """A contrary call: disclosure, dispute, a finding that sets it aside."""
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    contrary = animal.calls.get(by=world.greta.pk)
    owed = Disclosure.objects.get()
    item = world.item("disclosure_acknowledged", owed.pk, {})
    accept_one(item, world.buyer(owed.sale), world.now)
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    statement = {"statement": "I saw it laid bare."}
    about = Dispute.objects.get().pk
    world.say(world.odile, "statement_made", about, {}, texts=statement)
    report = {"remedy": "recheck", "basis": "veterinarian", "document": "ab" * 32}
    texts = {"reasons": "Two blind checks found otherwise."}
    world.find(Dispute.objects.get(), contrary, texts=texts, **report)


def _signed(world: World, animal: Animal) -> None:
    """A call signed on a device that is revoked afterwards."""
    lost = phone(world, world.odile)
    call = world.item("call_made", animal.pk, probing("male", "K1"))
    outcomes = lost.push(lost.key.signed(call), lost.revocation())
    assert [one.status for one in outcomes] == ["accepted", "accepted"]
    _own_word(world)


def _own_word(world: World) -> None:
    """Stan rules that nothing counts but what his devices sign, misses them, finds one, and lifts
    it again."""
    first, second = phone(world, world.stan), phone(world, world.stan, name="tablet")
    notice, page = notice_of(world, world.stan), Actor(keeper=world.stan.pk, proved=True)
    outcomes = first.push(endorsing(first, second), rule(first))
    outcomes += accept([notice], page, world.now)
    outcomes += first.push(stop(first, notice), rule(first, required=False))
    assert [one.status for one in outcomes] == ["accepted"] * 5
    key = "record.example/witness/00000000000000aa+00000000+AAAA"
    Witness.objects.create(key=key, keeper=world.stan.pk, registered_at=world.now)
    revoked = world.say(world.stan, "witness_revoked", world.stan.pk, {"key": key, "size": 3})
    assert revoked.status == "accepted"
    printed = paper(world, world.stan, endorsed_by=first)
    assert printed.states("device_revoked", device=str(second.device.pk)).status == "accepted"


def _reported(world: World, animal: Animal) -> None:
    """A veterinarian's call, denied, and eggs that viewers saw and read of too."""
    vet = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    brandt = keeper(f"Ilse Brandt {world.house}".strip())
    enter_address(vet, brandt.email, new_id(world.now), world.now)
    body = probing("male", tag_of(animal))
    seen = {"observed": {"method": "endoscopy", "seen": "testes"}}
    seen |= {"reported": {"role": "veterinarian", "who": str(vet.pk)}}
    made = world.say(world.odile, "call_made", animal.pk, body | seen)
    answer = {"call": made.id, "answer": "denied"}
    texts = {"note": "I never saw this animal."}
    world.say(brandt, "report_answered", animal.pk, answer, texts=texts)
    world.view(world.stan, animal)
    eggs = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = probing("female", tag_of(animal)) | {"observed": eggs, "document": "cd" * 32}
    made = world.say(world.odile, "call_made", animal.pk, body)
    read = {"call": made.id, "document": "cd" * 32}
    world.view(world.greta, animal)
    for reader in (world.greta, world.stan):  # she is found to deceive in the end
        world.say(reader, "document_read", animal.pk, read)
    for kind in ("witness_stated", "witness_withdrawn", "witness_stated"):
        world.say(world.stan, kind, animal.pk, {"call": made.id})


def _compared(world: World, animal: Animal) -> None:
    """Two photos, of which a viewer first says that they show two animals."""
    earlier = world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file(40, 30)))
    call = world.call(world.odile, animal, "male")
    photo = {**body_of(plain_file(30, 40)), "of": call.id}
    later = world.say(world.odile, "photo_attached", animal.pk, photo)
    for said, picture in ((earlier, plain_file(40, 30)), (later, plain_file(30, 40))):
        take_photo_file(UUID(said.id), picture, Actor(keeper=world.odile.pk), world.now)
    world.view(world.stan, animal)
    body = {"call": call.id, "photo": later.id, "earlier": earlier.id}
    for answer in ("another", "same"):
        world.say(world.stan, "photos_compared", animal.pk, body | {"answer": answer})


def _refiled(world: World, opened: Animal, read: Animal) -> None:
    """The transponder in the one's tub is the other's."""
    made = world.say(world.odile, "call_made", opened.pk, probing("male", world.chip(read)))
    world.say(world.odile, "call_refiled", read.pk, {"call": made.id})


def _mistyped(world: World, older: Animal, newer: Animal) -> None:
    """One number on two animals, and then on the right one only."""
    chip = {"scheme": "transponder", "code": "276 098 100 000 002"}
    for animal in (older, newer):
        world.say(world.odile, "identifier_assigned", animal.pk, chip)
    world.say(world.odile, "identifier_withdrawn", older.pk, chip, texts=_note())


def _twice(world: World, older: Animal, newer: Animal) -> None:
    """One snake on two records, as Odile says, who then sees that it is two."""
    chip = {"scheme": "transponder", "code": "276 098 100 000 003"}
    for animal in (older, newer):
        world.say(world.odile, "identifier_assigned", animal.pk, chip)
    body = {"code": chip["code"]}
    asked = world.say(world.odile, "joining_proposed", newer.pk, body, texts=_note())
    answer = {"proposal": asked.id, "agrees": True}
    world.say(world.odile, "joining_answered", older.pk, answer)
    parted = world.say(
        world.odile, "parting_proposed", older.pk, {"joining": asked.id}, texts=_note()
    )
    world.say(world.odile, "joining_answered", newer.pk, answer | {"proposal": parted.id})


def _husbandry(world: World, animal: Animal) -> None:
    for noted in (
        {"type": "weight", "grams": "640"},
        {"type": "meal", "taken": True, "grams": "30"},
        {"type": "shed", "stage": "opaque"},
        {"type": "health", "sign": "well"},
        {"type": "remark"},
    ):
        texts = {"note": f"Noted of {noted['type']}."}
        world.say(world.odile, "husbandry_noted", animal.pk, {"noted": noted}, texts=texts)
    picture = plain_file()
    photo = world.say(world.odile, "photo_attached", animal.pk, body_of(picture))
    take_photo_file(UUID(photo.id), picture, Actor(keeper=world.odile.pk), world.now)
    chip = {"scheme": "transponder", "code": "276 098 100 000 001"}
    world.say(world.odile, "identifier_assigned", animal.pk, chip)
    corrected = {"species": "python_regius", "hatched": "2024-05-30", "traits": ["pied", "hypo"]}
    world.say(world.odile, "particulars_corrected", animal.pk, corrected)
    for _ in range(2):
        room = create_collection(world.odile, new_id(world.now), "The loft", world.now)
        world.say(world.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "moved"})


def _ends(world: World, animal: Animal) -> None:
    """Lost, found again, and stolen for good."""
    world.say(world.odile, "animal_ended", animal.pk, {"why": "lost"}, texts=_note())
    world.say(world.odile, "end_corrected", animal.pk, {"why": "found"}, texts=_note())
    world.say(world.odile, "animal_ended", animal.pk, {"why": "stolen"})


def _slip(world: World) -> None:
    animal = world.animal("R-99")
    world.say(world.odile, "registered_in_error", animal.pk, {}, texts=_note())


def _linkage(world: World) -> None:
    parents = {"sire": str(world.animal("S1").pk), "dam": str(world.animal("D1").pk)}
    stated = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    }
    animal = world.animal("Y1", **parents)
    world.say(world.odile, "linkage_stated", animal.pk, stated | parents, texts=_note())


def _traits(world: World, animal: Animal) -> None:
    """In words and by a laboratory's test; one of them taken back; another log is quoted."""
    quote(world, world.odile, animal)
    shown = {"says": "shows", "basis": "seen"}
    texts = _note() | {"words": "A line down its back."}
    made = world.say(world.odile, "trait_stated", animal.pk, shown, texts=texts)
    body = {"stated": made.id}
    world.say(world.odile, "trait_withdrawn", animal.pk, body, texts=_note())
    tested = {"locus": "albino", "says": "carries_one", "basis": "dna"}
    texts = {"laboratory": "The bench in the valley", "sample": "B-1177"}
    world.say(world.odile, "trait_stated", animal.pk, tested, texts=texts)


def _claims(world: World) -> None:
    """Sold on a claim that falls, and stands again when a result is withdrawn; and on another that
    is taken back before it is paid."""
    known = family(world, name="C")
    het = {"locus": "albino", "says": "carries_one", "basis": "parents"}
    stated = world.say(world.odile, "trait_stated", known.young.pk, het).id
    sale = world.draft(known.young)
    offer = world.offer(sale, claims=[{"animal": str(known.young.pk), "stated": stated}])
    world.confirm(sale, offer.id or "", offer.position or 0)
    world.say(world.odile, "payment_recorded", sale.pk)
    results = [result_of(world, one, "carries_none") for one in (known.sire, known.dam)]
    world.say(world.odile, "trait_withdrawn", known.sire.pk, {"stated": results[0]})
    other = world.animal("C2")
    stated = world.say(world.odile, "trait_stated", other.pk, het).id
    world.offer(world.draft(other), claims=[{"animal": str(other.pk), "stated": stated}])
    world.say(world.odile, "trait_withdrawn", other.pk, {"stated": stated})


def _pairings(world: World) -> UUID:
    pair = {"sire": str(world.animal("P1").pk), "dam": str(world.animal("P2").pk)}
    for season in (2027, 2028):
        pairing = new_id(world.now)
        world.say(world.odile, "pairing_planned", pairing, pair | {"season": season})
    world.say(world.odile, "pairing_dropped", pairing)
    room = create_collection(world.stan, new_id(world.now), "Stan's shelf", world.now)
    mate = world.animal("S9", room=room)
    look = {"to": str(world.odile.pk), "role": "viewer"}
    world.say(world.stan, "grant_given", room.pk, look)
    pair = {"sire": str(mate.pk), "dam": pair["dam"], "season": 2027}
    pairing = new_id(world.now)
    world.say(world.odile, "pairing_planned", pairing, pair)
    world.view(world.stan, Animal.objects.get(pk=pair["dam"]))
    world.say(world.stan, "pairing_agreed", pairing)
    return pairing


def _season(world: World, pairing: UUID) -> None:
    """Eggs that both keepers count, put into the incubator on a wrong day."""
    day = str(world.now.date())
    for who, body in (
        (world.odile, {"what": "seen_together"}),
        (world.odile, {"what": "laid", "good": 2, "slugs": 0}),
        (world.stan, {"what": "laid", "good": 3}),
        (world.odile, {"what": "incubating", "celsius": "31.5"}),
    ):
        noted = world.say(who, "season_noted", pairing, body | {"on": day})
        assert noted.status == "accepted", noted.problem
    world.say(world.odile, "season_note_withdrawn", pairing, {"noted": noted.id})


def _visits(world: World, animal: Animal) -> None:
    world.say(world.stan, "visit_declined", world.invite(world.stan, animal))
    world.say(world.odile, "visit_cancelled", world.invite(world.stan, animal))
    world.say(world.odile, "visit_cancelled", world.visit(world.stan, animal))
    given_back = world.visit(world.stan, animal)
    world.say(world.stan, "grant_revoked", world.collection.pk, {"grant": str(given_back)})
    world.say(world.odile, "visit_cancelled", given_back)
    world.make_partner(world.pim)
    part = {"to": str(world.stan.pk), "role": "viewer", "animals": [str(animal.pk)]}
    part["until"] = rfc3339(world.now + timedelta(days=90))
    grant = world.say(world.odile, "grant_given", world.collection.pk, part)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": grant.id})


def _late(world: World, animal: Animal) -> None:
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now + timedelta(hours=2)
    world.pass_time(days=16)
    body = probing("male", tag_of(animal)) | {"visit": str(visit)}
    items = [
        world.item("call_made", animal.pk, body, at=examined, texts={"note": note})
        for note in ("No signal in the valley.", "Still none.")
    ]
    weight = {"noted": {"type": "weight", "grams": "412"}}
    items.insert(0, world.item("husbandry_noted", animal.pk, weight, at=examined))
    _, admitted, refused = (one.id for one in world.push(world.greta, *items))
    for held, yes in ((admitted, True), (refused, False)):
        decision = {"held": held, "admitted": yes}
        world.say(world.odile, "late_call_decided", animal.pk, decision)


def _spoken_against(world: World, animal: Animal) -> None:
    texts = {"note": "She held still throughout."}
    made = world.call(world.odile, animal, "female", texts=texts)
    objection = {"call": made.id, "ground": "wrong_reading"}
    world.say(world.pim, "call_objected", animal.pk, objection, texts={"note": "I saw six."})
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": made.id}, texts={"note": "True."})
    dispute = {"animal": str(animal.pk), "ground": "party_objects"}
    texts = {"note": "We disagree."}
    world.say(world.pim, "dispute_opened", new_id(world.now), dispute, texts=texts)


def _offers(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    buyer = world.buyer(sale)
    world.offer(sale)
    accept_one(world.item("check_requested", sale.pk, {}, texts=_note()), buyer, world.now)
    accept_one(world.item("offer_declined", sale.pk, {}), buyer, world.now)
    world.offer(sale)
    world.say(world.odile, "offer_withdrawn", sale.pk, texts=_note())
    world.offer(sale)
    world.pass_time(days=8)
    assert lapse_offers(world.now) == 1
    world.offer(sale)
    _fall_again(world, animal, sale)


def _fall_again(world: World, animal: Animal, sale: Sale) -> None:
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    assert sale.steps.filter(kind="sale_held").exists()


def _note() -> dict[str, str]:
    return {"note": "Between ourselves."}


def _footing(world: World) -> None:
    """The founders were named with the world. One answers for a newcomer, and ends it."""
    newcomer = keeper(f"Nell Newcome {world.house}".strip())
    for body in ({}, {"vouches": False}):
        world.say(world.greta, "keeper_vouched", newcomer.pk, body)


def _newcomers(world: World, animal: Animal) -> None:
    """One contradicts a verified sex that a season rests on, and waits until another does."""
    pair = {"sire": str(animal.pk), "dam": str(world.animal("N3").pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    for name in ("Ned Newcome", "Nan Newcome"):
        who = keeper(f"{name} {world.house}".strip())
        world.call(who, animal, "female", visit=world.visit(who, animal))
    assert world.label(animal) == "contested"


def _one_person(world: World, animal: Animal) -> None:
    """A guest's account counts as its keeper's, until an objection is found right."""
    guest = keeper(f"Nora Newcome {world.house}".strip())
    note_shared_key(world.odile.pk, guest.pk, world.now)
    world.call(guest, animal, "male", visit=world.visit(guest, animal))
    assert part_accounts(world.odile.pk, guest.pk, world.now) == 1


def _deceit(world: World) -> None:
    """The finding on the fall names Greta's."""
    find_deceit(world.greta.pk, Finding.objects.earliest("position").pk, world.now)


def _named_as_one(world: World) -> None:
    """The finding on the fall names two, to which its arbiter agreed; they never object."""
    found = Finding.objects.earliest("position")
    animal = found.dispute.animal
    one, other = animal.calls.order_by("by").values_list("by", flat=True).distinct()[:2]
    find_one_person(found.pk, one, other, world.now)
    Letter.objects.filter(kind="named_as_one").update(state="sent", sent_at=world.now, attempts=1)
    assert count_named(world.now + timedelta(days=15)) == 1


def _on_its_own_account(world: World) -> None:
    animal = world.animal("E1")
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    world.lays(animal)
    assert update_examiner_records(world.now)
    publish(world, LITTLE)
    adopt_numbers(world.now)
    world.call(world.odile, world.animal("N1"), "male")
    adopt_policy("policy-strict", "sexing-2", {"verified": "0.992000"}, world.now)
    assert close_books(world.now) is not None
    noted = world.call(world.odile, world.animal("N2"), "male", texts=_note())
    assert erase_texts_of(UUID(noted.id), world.now, wish="operator") == 1


def a_text_of(world: World) -> tuple[UUID, str]:
    """A call with a note, and the note."""
    animal = world.animal("T1")
    note = "Asked for by her aunt Brunhilde."
    made = world.call(world.odile, animal, "male", texts={"note": note})
    assert made.id is not None
    return UUID(made.id), note
