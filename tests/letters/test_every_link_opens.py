"""Every link of every kind of letter, opened by its reader while it is the newest they have."""

import re
from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from uuid import UUID

import pytest
from allauth.account.models import EmailAddress
from django.core.management import call_command
from django.db.models import Q
from django.test import Client, override_settings
from tests.families import family
from tests.intake.test_claims import bought, disprove, het
from tests.intake.test_letters_owed import Scene, answer
from tests.intake.test_named_as_one import finding
from tests.intake.test_reports import answer as answer_report
from tests.intake.test_reports import endoscopy, entered
from tests.letters.chain import Chain
from tests.letters.test_letters_read_well import KINDS
from tests.pages.conftest import Here, here
from tests.pictures import body_of, plain_file
from tests.turns import turns
from tests.world import keeper, new_id, vouched

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.invitations import invite_by_letter
from scalewitness.intake.named_as_one import find_one_person
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.statements import adopt_policy, lapse_offers
from scalewitness.letters import accounts
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.letters.backups import look_at_backups
from scalewitness.letters.chasing import SILENT_AFTER, chase
from scalewitness.letters.codes import send_code
from scalewitness.letters.digests import owe_digests
from scalewitness.letters.late import REMIND_AFTER, remind_of_late_calls
from scalewitness.letters.reports import ask_practitioners
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device, name_practitioner
from scalewitness.sign_in.services.letters import notify_of_factor

pytestmark = pytest.mark.django_db
__all__ = ["here"]
LINK = re.compile(r"http://testserver[^\s<>\"]*")


class Readers:
    """They open what is new to them, signed in where they have an account."""

    def __init__(self, whose: Iterator[bool]) -> None:
        self.whose = whose
        self.read: set[UUID] = set()
        self.kinds: set[str] = set()
        self.opened: set[tuple[UUID | None, str]] = set()

    def open_all(self) -> None:
        self.opened.clear()
        for letter in Letter.objects.exclude(pk__in=self.read).order_by("created_at", "pk"):
            self.read.add(letter.pk)
            if letter.state != "joined":
                self.kinds.add(letter.kind)
                self._open(letter)

    def _open(self, letter: Letter) -> None:
        message = compose(letter)
        written = f"{message.body}\n{message.alternatives[0].content}"
        for link in {unescape(one) for one in LINK.findall(written)}:
            reader = Keeper.objects.filter(
                Q(pk=letter.recipient) | Q(buyer__pk=letter.recipient)
            ).first()
            reader = reader or Keeper.objects.filter(email=letter.to).first()
            if ((who := reader.pk if reader else None), link) in self.opened or not next(
                self.whose
            ):
                continue
            self.opened.add((who, link))
            browser = Client()
            if reader is not None:
                browser.force_login(reader)
            found = browser.get(link.removeprefix("http://testserver"), follow=True)
            asked_to_sign_in = any("/login" in to for to, _ in found.redirect_chain)
            told = f"{letter.kind} to {letter.context['to_name']}: {link}"
            assert (found.status_code, asked_to_sign_in) == (200, False), told


def test_no_link_of_any_letter_leads_nowhere(here: Here, request: pytest.FixtureRequest) -> None:
    """An ordinary run opens one in eight, others with each seed."""
    readers = Readers(turns(request.config, 8))
    for story in (
        _sold_on,
        _account,
        _reported,
        _sale,
        _came_to_nothing,
        _late,
        _number,
        _newcomer,
        _one_person,
        _new_rule,
        _by_letter,
        _claim,
    ):
        story(here, readers)
        readers.open_all()
    assert readers.kinds == set(KINDS)


def _claim(here: Here, readers: Readers) -> None:
    """What was sold as a carrier is none, by its parents."""
    known = family(here, name="K")
    bought(here, known.young, het(here, known.young))
    readers.open_all()
    disprove(here, known)


def _by_letter(here: Here, readers: Readers) -> None:
    animal = here.animal("L1")
    body = {
        "collection": str(here.collection.pk),
        "animals": [str(animal.pk)],
        "opens": rfc3339(here.now),
        "closes": rfc3339(here.now + timedelta(days=3)),
    }
    invite_by_letter(new_id(), here.greta.email, body, here.odile, here.now)


def _newcomer(here: Here, readers: Readers) -> None:
    """A contrary call of somebody new waits, and a recheck is asked for."""
    animal, new = here.verified("W1"), keeper("New Here")
    here.pass_time(days=1)
    here.call(new, animal, "female", visit=here.visit(new, animal))


def _account(here: Here, readers: Readers) -> None:
    who, now = here.odile, here.now
    accounts.device_added(who, enrol_device(who, "Rack phone", now)[0], now)
    accounts.browser_signs(who, enrol_device(who, "Desk", now)[0], now)
    accounts.key_enrolled(who, enrol_device(who, "Tablet", now)[0], None, now)
    accounts.signing_notice_given(who, now, now)
    accounts.signing_notice_stopped(who, now)
    accounts.recovery_key_counts(who, now)
    accounts.recovery_key_used(who, "signatures_required", now)
    accounts.password_changed(who, now, kept=True, by_letter=False)
    accounts.address_added(who, now)
    accounts.signing_in_moved(who, "old@keepers.example", now)
    accounts.account_exists(who, who.email, now)
    accounts.reset_password(who, who.email, now)
    accounts.no_account("nobody@people.example", now)
    another = EmailAddress.objects.create(user=who, email="another@keepers.example")
    accounts.confirm_address(another, now)
    notify_of_factor(who, "passkey_added", now)
    with override_settings(OPERATORS=[who.email], BACKUP_STAMP="/nonexistent"):
        look_at_backups(now)


def _sold_on(here: Here, readers: Readers) -> None:
    """From Odile to Dov, with a fall, a dispute and its finding, and its end."""
    chain = Chain(here)
    Letter.objects.all().delete()  # of the deals, read long ago
    here.now_is_now()
    mate = here.animal("M1", room=chain.rooms[-1])
    pair = {"sire": str(chain.animal.pk), "dam": str(mate.pk), "season": 2027}
    here.say(chain.keepers[-1], "pairing_planned", new_id(here.now), pair)
    chain.fall()
    readers.open_all()
    dispute = Dispute.objects.get(animal=chain.animal)
    said = {"statement": "It was probed twice."}
    here.say(chain.keepers[-1], "statement_made", dispute.pk, texts=said)
    finding = {"outcome": "unresolved", "remedy": "none"}
    here.say(chain.keepers[-1], "finding_recorded", dispute.pk, finding)
    readers.open_all()
    objection = {"animal": str(chain.animal.pk), "ground": "party_objects"}
    here.say(chain.keepers[-1], "dispute_opened", new_id(here.now), objection)
    readers.open_all()
    Letter.objects.filter(kind="disclosure").update(state="sent", sent_at=here.now)
    chase(here.now + SILENT_AFTER)
    owe_digests(here.now)
    Letter.objects.filter(kind="disclosure").update(state="returned")
    chase(here.now)
    readers.open_all()
    here.say(chain.keepers[-1], "animal_ended", chain.animal.pk, {"why": "died"})


def _sale(here: Here, readers: Readers) -> None:
    coded = _drafted(here, "S0", by_code=True)
    coded.offer()
    send_code(coded.sale, here.now)
    answer("check_requested")(coded)
    readers.open_all()
    scene = _drafted(here, "S1")
    animal = scene.animal
    scene.offer()
    scene.confirm()
    readers.open_all()
    room = create_collection(here.odile, new_id(here.now), "The loft", here.now)
    with pytest.raises(Refused):
        here.say(here.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "moved"})
    scene.seller("payment_recorded")
    send_elsewhere(scene.sale, "bela@new.example", here.now, seller=None)
    readers.open_all()
    why = {"why": "recorded_by_mistake"}
    asked = here.say(here.odile, "release_asked", scene.sale.pk, why)
    readers.open_all()
    scene.buyer("release_denied", {"asked": asked.id})
    scene.seller("handed_over")
    scene.buyer("arrival_compared", {"animal": str(animal.pk), "answer": "another"})
    readers.open_all()
    claimed = here.back(scene.sale, animal, answer=None)
    readers.open_all()
    scene.buyer("return_answered", {"move": claimed.id, "answer": "denied"})
    here.say(here.odile, "animal_ended", animal.pk, {"why": "stolen"})


def _came_to_nothing(here: Here, readers: Readers) -> None:
    for step in ("offer_declined", "offer_withdrawn"):
        scene = _drafted(here, step)
        scene.offer()
        readers.open_all()
        answer(step)(scene) if step == "offer_declined" else scene.seller(step)
        readers.open_all()
    over = _drafted(here, "over")
    over.sell()
    asked = here.say(here.odile, "release_asked", over.sale.pk, {"why": "paid_back"})
    over.buyer("release_agreed", {"asked": asked.id})
    readers.open_all()
    held = _drafted(here, "held")
    held.offer()
    readers.open_all()
    held.fall()
    readers.open_all()
    late = _drafted(here, "late")
    late.offer()
    late.confirm()
    readers.open_all()
    lapse_offers(here.now.replace(year=here.now.year + 1))


def _drafted(here: Here, tag: str, *, by_code: bool = False) -> Scene:
    animal = here.animal(tag)
    here.call(here.odile, animal, "male")
    return Scene(here, animal, here.draft(animal, by_code=by_code))


def _reported(here: Here, readers: Readers) -> None:
    """A veterinarian's call and photos of a check, under an offer."""
    vet, animal = keeper("Ilse Brandt"), here.animal("R1")
    named = name_practitioner(here.odile, new_id(here.now), "Dr Ilse Brandt")
    entered(here, named, vet)
    call = endoscopy(here, animal, named)
    ask_practitioners(here.now)
    first, second = _photos(here, animal)
    sale = here.draft(animal)
    here.offer(sale)
    answer_report(here, vet, animal, call, "denied")
    here.view(here.stan, animal)
    compared = {**second, "earlier": first, "answer": "another"}
    here.say(here.stan, "photos_compared", animal.pk, compared)


def _late(here: Here, readers: Readers) -> None:
    animal, now = here.animal("L1"), here.now
    here.now = now - timedelta(days=20)
    visit = here.visit(here.greta, animal, days=1)
    here.now = now
    made = now - timedelta(days=19, hours=12)
    held = here.call(here.greta, animal, "male", visit=visit, at=made)
    remind_of_late_calls(now + max(REMIND_AFTER))
    readers.open_all()
    decided = {"held": held.id, "admitted": False}
    here.say(here.odile, "late_call_decided", animal.pk, decided)
    readers.open_all()
    other = here.animal("L2")
    here.now = now - timedelta(days=40)
    here.visit(here.greta, other, days=1)
    weighed, here.now = here.now + timedelta(hours=2), now - timedelta(days=20)
    noted = {"noted": {"type": "weight", "grams": "420"}}
    note = here.say(here.greta, "husbandry_noted", other.pk, noted, at=weighed)
    here.now = now
    alone = {"held": note.id, "admitted": True}
    here.say(here.odile, "late_call_decided", other.pk, alone)


def _number(here: Here, readers: Readers) -> None:
    """One transponder on two records."""
    chip = {"scheme": "transponder", "code": here.chip(here.animal("T1"))}
    room = create_collection(here.stan, new_id(here.now), "Stan's shelf", here.now)
    older, newer = Animal.objects.get(identifiers__code="T1"), here.animal("T2", room=room)
    here.say(here.stan, "identifier_assigned", newer.pk, chip)
    readers.open_all()
    asked = here.say(here.stan, "joining_proposed", newer.pk, {"code": chip["code"]})
    readers.open_all()
    agreed = {"proposal": asked.id, "agrees": True}
    here.say(here.odile, "joining_answered", older.pk, agreed)
    readers.open_all()
    other = here.animal("T3")
    wrong = {"scheme": "transponder", "code": here.chip(other)}
    here.say(here.stan, "identifier_assigned", here.animal("T4", room=room).pk, wrong)
    here.say(here.odile, "identifier_withdrawn", other.pk, wrong)


def _one_person(here: Here, readers: Readers) -> None:
    """A finding names two accounts, and one of them objects."""
    now, here.now = here.now, here.now - timedelta(days=10)
    animal, one, other = here.animal("P1"), vouched(keeper("One"), here.now), keeper("Other")
    for who in (one, other):
        here.pass_time(days=1)
        here.call(who, animal, "male", visit=here.visit(who, animal))
    find_one_person(finding(here, animal), one.pk, other.pk, here.now)
    here.now = now
    readers.open_all()
    call_command("part_accounts", str(other.pk), str(one.pk))


def _photos(here: Here, animal: Animal) -> tuple[str, dict[str, str]]:
    """An earlier photo, and a call with its own."""
    files = plain_file(40, 30), plain_file(30, 40)
    earlier = here.say(here.odile, "photo_attached", animal.pk, body_of(files[0]))
    call = here.call(here.odile, animal, "male")
    of_it = {**body_of(files[1]), "of": call.id}
    later = here.say(here.odile, "photo_attached", animal.pk, of_it)
    for said, file in zip((earlier, later), files, strict=True):
        take_photo_file(UUID(said.id), file, Actor(keeper=here.odile.pk), here.now)
    return str(earlier.id), {"call": str(call.id), "photo": str(later.id)}


def _new_rule(here: Here, readers: Readers) -> None:
    here.sold(here.verified("N1"), email=here.stan.email)
    readers.open_all()
    adopt_policy("policy-strict", "sexing-1", {"verified": "0.999990"}, here.now)
