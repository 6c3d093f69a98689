"""Letters over real SMTP: sent once, tried again, shown as failed, never lost."""

from collections.abc import Iterator
from datetime import timedelta
from html import unescape
from pathlib import Path
from smtplib import (
    SMTPAuthenticationError,
    SMTPConnectError,
    SMTPDataError,
    SMTPRecipientsRefused,
    SMTPSenderRefused,
)

import pytest
from django.conf import LazySettings, settings
from django.core.mail.backends.base import BaseEmailBackend
from django.db import connection
from tests.world import START, World, new_id

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.carried import carried
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.receipts import prove, read_receipt
from scalewitness.ledger.models import Checkpoint
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.delivering import LEASE, claim, deliver, deliver_due
from scalewitness.mail.services.queueing import queue
from stack.mailsink import Faults, MailSink

pytestmark = pytest.mark.django_db


@pytest.fixture
def sink(
    tmp_path: Path, settings: LazySettings, request: pytest.FixtureRequest
) -> Iterator[MailSink]:
    faults: Faults = getattr(request, "param", Faults())
    with MailSink(tmp_path / "mail", faults=faults) as running:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
        yield running


@pytest.fixture
def letter(world: World) -> Letter:
    animal = world.animal("A1")
    world.invite(world.greta, animal)
    return Letter.objects.get()


def test_a_letter_arrives_once_with_its_headers(letter: Letter, sink: MailSink) -> None:
    assert deliver_due(START) == 1
    assert deliver_due(START + timedelta(days=1)) == 0
    (message,) = sink.messages()
    assert message["Message-ID"] == letter.message_id
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["X-Scalewitness-Letter"] == letter.kind
    assert message["To"] == "greta.lund@keepers.example"
    assert [part.get_content_type() for part in message.walk()] == [
        "multipart/alternative",
        "text/plain",
        "text/html",
    ]
    letter.refresh_from_db()
    assert (letter.state, letter.sent_at, letter.attempts) == ("sent", START, 1)


def test_one_letter_per_cause_and_person(letter: Letter) -> None:
    queue(
        id=new_id(),
        kind=letter.kind,
        cause=letter.cause,
        recipient=letter.recipient,
        to=letter.to,
        context={},
        now=START,
    )
    assert Letter.objects.count() == 1


@pytest.mark.parametrize("sink", [Faults(refuse_first=2)], indirect=True)
def test_a_refusal_for_now_is_tried_again(letter: Letter, sink: MailSink) -> None:
    now = START
    for attempt in (1, 2):
        deliver_due(now)
        letter.refresh_from_db()
        assert (letter.state, letter.attempts) == ("waiting", attempt)
        assert "451" in letter.last_error
        assert letter.next_try_at > now
        assert deliver_due(now) == 0
        now = letter.next_try_at
    deliver_due(now)
    letter.refresh_from_db()
    assert (letter.state, len(sink.messages())) == ("sent", 1)


@pytest.mark.parametrize("sink", [Faults(drop_after_data=True)], indirect=True)
def test_a_mail_host_that_hangs_up_loses_nothing(letter: Letter, sink: MailSink) -> None:
    deliver_due(START)
    letter.refresh_from_db()
    assert letter.state == "waiting"
    assert sink.messages() == []


def test_a_dead_mail_host_only_delays(letter: Letter, settings: LazySettings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    deliver_due(START)
    letter.refresh_from_db()
    assert (letter.state, letter.attempts) == ("waiting", 1)
    assert "refused" in letter.last_error.lower()


def test_a_claim_is_exclusive_until_its_lease_runs_out(letter: Letter) -> None:
    assert [one.pk for one in claim(START, 10)] == [letter.pk]
    assert claim(START + LEASE - timedelta(seconds=1), 10) == []
    (again,) = claim(START + LEASE + timedelta(seconds=1), 10)
    assert again.message_id == letter.message_id


def test_a_name_cannot_break_out_of_a_header(world: World) -> None:
    world.odile.name = "Odile\r\nBcc: everyone@elsewhere.example"
    world.odile.save()
    world.invite(world.greta, world.animal("A1"))
    message = compose(Letter.objects.get()).message()
    assert message["Bcc"] is None
    assert "\n" not in message["Subject"]


def test_an_address_no_message_can_carry_holds_up_no_other_letter(
    letter: Letter, world: World, sink: MailSink
) -> None:
    # A label of 60 accented letters passes as an address, and is too long for DNS once
    # written in ASCII (RFC 3492; at most 63 octets, RFC 1035 2.3.4).
    world.offer(world.draft(world.animal("A2"), email=f"x@{'é' * 60}.example"))
    Letter.objects.filter(pk=letter.pk).update(created_at=START + timedelta(seconds=1))
    assert deliver_due(START) == 2
    unwritable = Letter.objects.get(kind="offer")
    assert unwritable.state == "failed"
    assert "idna" in unwritable.last_error
    letter.refresh_from_db()
    assert (letter.state, len(sink.messages())) == ("sent", 1)


class Refusing(BaseEmailBackend):
    """A mail host that answers every letter with ``problem``."""

    def __init__(self, problem: Exception) -> None:
        super().__init__()
        self.problem = problem

    def send_messages(self, email_messages: object) -> int:
        raise self.problem


@pytest.mark.parametrize(
    ("problem", "state"),
    [
        (SMTPAuthenticationError(535, b"wrong password"), "waiting"),
        (SMTPConnectError(554, b"no service"), "waiting"),
        (SMTPSenderRefused(550, b"not you", "record@scalewitness.example"), "waiting"),
        (SMTPDataError(451, b"later"), "waiting"),
        (SMTPDataError(554, b"unwanted"), "failed"),
        (SMTPRecipientsRefused({"x": (450, b"later")}), "waiting"),
        (SMTPRecipientsRefused({"x": (550, b"nobody")}), "failed"),
    ],
)
def test_only_a_refusal_of_the_letter_itself_is_for_good(
    letter: Letter, problem: Exception, state: str
) -> None:
    (claimed,) = claim(START, 10)
    assert deliver(claimed, Refusing(problem), START) == state
    letter.refresh_from_db()
    assert letter.state == state


def test_a_worker_that_outlived_its_lease_does_not_undo_what_another_did(
    letter: Letter, sink: MailSink
) -> None:
    (slow,) = claim(START, 10)
    later = START + LEASE + timedelta(seconds=1)
    assert deliver_due(later) == 1
    deliver(slow, Refusing(TimeoutError("at last")), later)
    letter.refresh_from_db()
    assert (letter.state, letter.sent_at) == ("sent", later)
    assert deliver_due(later + timedelta(days=1)) == 0
    assert len(sink.messages()) == 1


@pytest.fixture
def fallen(world: World) -> Letter:
    """The letter that a verified sex, sold, no longer stands."""
    animal = world.verified("V1")
    world.sold(animal)
    world.pass_time(days=1)
    world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    return Letter.objects.get(kind="disclosure")


def test_disclosures_and_confirmations_carry_their_receipt(
    fallen: Letter, world: World, sink: MailSink
) -> None:
    """The file as it arrives, byte for byte, holds under the log's key."""
    deliver_due(world.now, limit=50)
    found = {}
    for message in sink.messages():
        files = [part for part in message.walk() if part.get_filename()]
        if files:
            (file,) = files
            assert file.get_content_disposition() == "attachment"
            log = read_signer(settings.LOG_SIGNING_KEY).verifier
            shown = prove(read_receipt(file.get_payload(decode=True)), log)
            assert file.get_filename() == f"scalewitness-{shown.position}.receipt"
            found[message["X-Scalewitness-Letter"]] = shown.entry.kind
    assert found == {"disclosure": "disclosure_owed", "sale_confirmed": "sale_confirmed"}


def test_an_offer_carries_the_state_of_the_log_in_words_and_as_a_link(
    fallen: Letter, world: World, sink: MailSink
) -> None:
    deliver_due(world.now, limit=50)
    (offer,) = [m for m in sink.messages() if m["X-Scalewitness-Letter"] == "offer"]
    parts = {
        one.get_content_type(): one.get_payload(decode=True).decode().replace("\r\n", "\n")
        for one in offer.walk()
        if one.get_content_maintype() == "text"
    }
    latest = Checkpoint.objects.latest("size")
    root = encode64(bytes(latest.root))
    address = f"{settings.PUBLIC_URL}/log{carried(read_note(latest.note))}"
    for text in parts.values():
        assert f"log had {latest.size} entries, root {root}." in " ".join(unescape(text).split())
        assert address in text
    position = Letter.objects.get(kind="offer").context["position"]
    assert latest.size > position


def test_a_log_that_cannot_vouch_holds_up_no_letter(
    fallen: Letter, world: World, sink: MailSink
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE ledger_head DISABLE TRIGGER ALL")
        cursor.execute("UPDATE ledger_head SET root = sha256('x')")
        cursor.execute("ALTER TABLE ledger_head ENABLE TRIGGER ALL")
    deliver_due(world.now, limit=50)
    fallen.refresh_from_db()
    assert fallen.state == "sent"
    sent = [m for m in sink.messages() if m["X-Scalewitness-Letter"] == "disclosure"]
    (text, *_) = [p for p in sent[0].walk() if p.get_content_type() == "text/plain"]
    body = text.get_payload(decode=True).decode()
    assert f"/receipts/{fallen.context['receipt']}" in body.replace("\r\n", "\n")
    assert "attached" not in body
    assert all("#seen=" not in str(one) for one in sink.messages())
