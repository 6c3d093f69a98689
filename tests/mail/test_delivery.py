"""Letters over real SMTP: sent once, tried again, shown as failed, never lost."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import LazySettings
from tests.world import START, World, new_id

from scalewitness.mail.models import Letter
from scalewitness.mail.services import DELIVER, LEASE, claim, compose, deliver_due, queue
from scalewitness.mail.tasks import deliver_waiting
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


def test_the_name_celery_is_given_is_the_tasks_name() -> None:
    assert deliver_waiting.name == DELIVER


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
