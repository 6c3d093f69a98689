"""Letters that come back, that are not answered, and that had not left when there was more to
tell: nothing owed is lost, nothing is told twice, and states are true."""

import mailbox
import sys
from datetime import timedelta
from hashlib import sha256
from io import BytesIO, StringIO
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import LazySettings
from django.core.mail import get_connection
from django.core.management import CommandError, call_command
from django.test import override_settings
from tests.intake.test_sales import contrary
from tests.mail.conftest import restore
from tests.reports import report
from tests.world import START, World

from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.delivery_reports import read_reports
from scalewitness.domain.errors import NotNow
from scalewitness.intake.services import accept_one
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.letters.chasing import chase
from scalewitness.letters.digests import owe_digests
from scalewitness.mail.models import DeliveryReport, Letter
from scalewitness.mail.queries import replaced_by
from scalewitness.mail.services.delivering import claim, deliver, deliver_due
from scalewitness.mail.services.queueing import NO_ADDRESS, forget_recipient, message_id
from scalewitness.mail.services.reporting import take_report
from scalewitness.sales.models import AddressChange, Sale
from scalewitness.sales.services import set_reminders
from stack.mailsink import MailSink

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(3)]


def owed(kind: str = "disclosure") -> Letter:
    return Letter.objects.get(kind=kind)


def bounce(letter: Letter, world: World, address: str = "", **more: str) -> Letter | None:
    (told,) = read_reports(report(letter.message_id, address or letter.to, **more))
    return take_report(told, world.now)


# --- what comes back --------------------------------------------------------------------


def test_a_letter_that_came_back_is_shown_and_its_seller_told_once(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    assert owed().state == "sent"
    assert bounce(owed(), world) == owed()
    assert (owed().state, owed().undelivered) == ("returned", True)
    assert "5.1.1: 550 5.1.1 no mailbox of that name" in owed().last_error
    for _ in range(2):
        bounce(owed(), world)
        chase(world.now)
    told = owed("disclosure_undelivered")
    assert told.recipient == world.odile.pk
    assert DeliveryReport.objects.count() == 1
    deliver_due(world.now, 50)
    last = sink.messages()[-1]
    assert last["Subject"].startswith("Letter to "), last["Subject"]
    assert not Disclosure.objects.exclude(acknowledgement=None).exists(), "it is still owed"


def test_the_return_path_is_not_the_readers_sender(
    world: World, fallen: Sale, sink: MailSink, settings: LazySettings
) -> None:
    settings.MAIL_RETURN_PATH = "returns@record.example"
    deliver_due(world.now, 50)
    letter = next(one for one in sink.messages() if one["Message-ID"] == owed().message_id)
    assert letter["Return-Path"] == "<returns@record.example>"
    assert letter["From"] == settings.DEFAULT_FROM_EMAIL


@pytest.mark.parametrize(
    ("address", "more"),
    [
        ("somebody@else.example", {}),
        ("", {"action": "delayed", "status": "4.4.1"}),
        ("", {"action": "delivered", "status": "2.0.0"}),
    ],
)
def test_a_delay_and_a_claim_about_another_address_change_nothing(
    world: World, fallen: Sale, sink: MailSink, address: str, more: dict[str, str]
) -> None:
    deliver_due(world.now, 50)
    bounce(owed(), world, address, **more)
    assert owed().state == "sent"


def test_a_letters_id_cannot_be_worked_out_from_what_it_is_about(fallen: Sale) -> None:
    """Else a seller could report a disclosure as undeliverable and send it elsewhere."""
    letter = owed()
    assert letter.message_id == message_id(letter.kind, letter.cause, letter.recipient)
    said = f"{letter.kind} {letter.cause} {letter.recipient}"
    assert sha256(said.encode()).hexdigest()[:32] not in letter.message_id
    with override_settings(SECRET_KEY="another server's key"):
        assert letter.message_id != message_id(letter.kind, letter.cause, letter.recipient)


def test_a_report_that_is_quicker_than_our_own_note_stands(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    letter = next(one for one in claim(world.now, 50) if one.kind == "disclosure")
    bounce(letter, world)
    deliver(letter, get_connection(), world.now)
    assert owed().state == "returned"


def test_a_report_about_no_letter_of_ours(world: World, fallen: Sale) -> None:
    (told,) = read_reports(report("<nobody@knows.example>", owed().to))
    assert take_report(told, world.now) is None
    assert owed().state == "waiting"


def test_erasing_an_address_takes_what_hosts_said_of_it(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    bounce(owed(), world)
    forget_recipient(fallen.buyer_id, "erased@erased.invalid")
    assert not DeliveryReport.objects.exists()
    assert owed().last_error == NO_ADDRESS
    assert send_elsewhere(fallen, "bela@new.example", world.now, seller=None) == 0


def test_the_command_reads_a_maildir_and_standard_input(
    world: World, fallen: Sale, sink: MailSink, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliver_due(world.now, 50)
    box = mailbox.Maildir(tmp_path / "returns")
    box.add(report(owed().message_id, owed().to))
    box.add(b"Subject: Out of office\n\nBack on Monday.\n")
    out = StringIO()
    call_command("take_reports", "--maildir", str(tmp_path / "returns"), stdout=out)
    assert f"failed 5.1.1: letter {owed().pk}" in out.getvalue()
    assert "not a delivery report" in out.getvalue()
    assert owed().state == "returned"
    again = StringIO()
    call_command("take_reports", "--maildir", str(tmp_path / "returns"), stdout=again)
    assert again.getvalue() == "", "each is read once"
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=BytesIO(b"Hello")))
    with pytest.raises(CommandError) as refused:
        call_command("take_reports", stdout=StringIO())
    assert refused.value.returncode == 65


# --- where letters go -------------------------------------------------------------------


def test_the_buyer_sends_letters_elsewhere_and_the_old_address_is_told(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    bounce(owed(), world)
    again = send_elsewhere(fallen, "bela@new.example", world.now, seller=None)
    assert again == 1
    deliver_due(world.now, 50)
    to = {one["Subject"]: one["To"] for one in sink.messages()}
    assert to["Letters about your purchase go to another address now"] == "bela@buyers.example"
    assert owed().state == "sent"
    assert owed().to == "bela@new.example"
    both = [one for one in sink.messages() if one["Message-ID"] == owed().message_id]
    assert [one["To"] for one in both] == ["bela@buyers.example", "bela@new.example"]
    assert AddressChange.objects.get().by is None


def test_the_seller_cannot_lead_a_disclosure_away(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    with pytest.raises(NotNow):
        send_elsewhere(fallen, "odile@keepers.example", world.now, seller=world.odile.pk)
    fallen.buyer.refresh_from_db()
    assert fallen.buyer.email == "bela@buyers.example"
    bounce(owed(), world)
    assert send_elsewhere(fallen, "bela@new.example", world.now, seller=world.odile.pk) == 1
    assert owed("address_changed").to == "bela@buyers.example"
    assert owed("address_changed").context["by_seller"]


def test_a_letter_that_comes_back_from_the_new_address_too_is_another_matter(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    bounce(owed(), world)
    chase(world.now)
    send_elsewhere(fallen, "bela@new.example", world.now, seller=None)
    deliver_due(world.now, 50)
    bounce(owed(), world, status="5.2.1")
    chase(world.now)
    assert Letter.objects.filter(kind="disclosure_undelivered").count() == 2


# --- what is not answered ---------------------------------------------------------------


def test_silence_reminds_the_buyer_then_tells_the_seller(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    for day, reminders, told in ((13, 0, 0), (14, 1, 0), (27, 1, 0), (28, 1, 1), (60, 1, 1)):
        chase(world.now + timedelta(days=day))
        kinds = list(Letter.objects.values_list("kind", flat=True))
        assert kinds.count("disclosure_reminder") == reminders, day
        assert kinds.count("disclosure_silent") == told, day


def test_reminders_can_be_turned_off_and_disclosures_cannot(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    set_reminders(fallen.buyer, wanted=False)
    deliver_due(world.now, 50)
    chase(world.now + timedelta(days=60))
    assert not Letter.objects.filter(kind="disclosure_reminder").exists()
    restore(world)
    assert Letter.objects.filter(kind="disclosure").count() == 2


def test_an_acknowledged_disclosure_is_left_in_peace(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    deliver_due(world.now, 50)
    disclosure = Disclosure.objects.get()
    item = world.item("disclosure_acknowledged", disclosure.pk, {})
    accept_one(item, world.buyer(fallen), world.now)
    assert chase(world.now + timedelta(days=60)) == 0


# --- more to tell before it left --------------------------------------------------------


def test_a_fall_mended_before_its_letter_left_is_told_in_one_letter(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    world.pass_time(hours=1)
    restore(world)
    assert [one.change for one in Disclosure.objects.order_by("position")] == ["fell", "restored"]
    world.pass_time(hours=1)
    deliver_due(world.now, 50)
    told = [one for one in sink.messages() if one["X-Scalewitness-Letter"] == "disclosure"]
    assert len(told) == 1
    parts = [one for one in told[0].walk() if one.get_content_type() == "text/plain"]
    text = parts[0].get_payload(decode=True).decode()
    assert "was in doubt for a time" in text
    fall, mended = text.index("no longer stood (contested"), text.index("stood again (verified")
    assert fall < mended
    first, last = Letter.objects.filter(kind="disclosure").order_by("created_at")
    assert (first.state, first.joined_to) == ("joined", last.pk)
    assert last.state == "sent"
    assert "We wrote to you before" not in text


def test_a_letter_that_a_worker_has_is_not_joined(world: World, fallen: Sale) -> None:
    claim(world.now, 50)
    world.pass_time(hours=1)
    restore(world)
    states = Letter.objects.filter(kind="disclosure").order_by("created_at")
    assert list(states.values_list("state", flat=True)) == ["sending", "waiting"]
    assert replaced_by(states[1]) == []


def test_of_two_sales_each_buyer_is_told_of_their_own(world: World, sink: MailSink) -> None:
    """The same person as buyer twice, of two animals: nothing of one is told in the other."""
    animals = [world.verified("V1"), world.verified("V2")]
    sales = [world.sold(one) for one in animals]
    world.pass_time(days=1)
    for one in animals:
        contrary(world, one)
    letters = Letter.objects.filter(kind="disclosure", state="waiting")
    assert {one.context["sale"] for one in letters} == {str(one.pk) for one in sales}
    assert not any(replaced_by(one) for one in letters)


# --- once a week ------------------------------------------------------------------------


def test_the_digest_counts_what_waits_once_a_week_for_those_who_want_it(
    world: World, fallen: Sale, sink: MailSink
) -> None:
    monday = START + timedelta(days=7)
    assert owe_digests(monday) >= 1
    owe_digests(monday + timedelta(hours=3))
    letter = Letter.objects.get(kind="digest", recipient=world.odile.pk)
    assert letter.context["counts"] == {"unacknowledged": 1, "disputes": 1}
    world.odile.digest = False
    world.odile.save(update_fields=["digest"])
    owe_digests(monday + timedelta(days=7))
    assert Letter.objects.filter(kind="digest", recipient=world.odile.pk).count() == 1
