"""Whatever a mail host did, the last letter that it took of an animal is true, none owed is missing
and none came twice but under its own Message-ID.

The mail host refuses, goes dead before or after it stored a message, and is slow: then a worker
has letters in hand while the record changes. The oracle reads the letters as their readers do.
"""

import random
import re
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from email import message_from_bytes
from email.message import Message
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.mail import get_connection
from tests.world import World, keeper

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.disclosures.models import Disclosure
from scalewitness.mail.models import Letter
from scalewitness.mail.services.delivering import LEASE, claim, deliver, deliver_due
from scalewitness.people.models import Keeper
from stack.mailsink import Faults, MailSink, Turn

pytestmark = pytest.mark.django_db

TURNS: tuple[Turn, ...] = ("store", "refuse", "drop", "store_and_drop")
NOW = {
    "disclosure": re.compile(r"WHAT THE RECORD SAYS NOW\n  (.+)\n"),
    "standing_notice": re.compile(r"\n  Now     (.+)\n"),
}
SINCE = re.compile(r"it now says\n“(.+)”\.")


class Fault:
    """What becomes of each message: at random while ``on``, else stored."""

    def __init__(self, rng: random.Random) -> None:
        self.rng, self.on = rng, True

    def turns(self) -> Iterator[Turn]:
        while True:
            yield self.rng.choice(TURNS) if self.on else "store"


def in_hand(now: datetime) -> list[Letter]:
    """A worker has taken letters, and the mail host lets it wait."""
    return claim(now, 20)


def finish(letters: list[Letter], now: datetime) -> None:
    connection = get_connection()
    for letter in letters:
        deliver(letter, connection, now)
        connection.close()


def text_of(message: Message) -> str:
    part = next(one for one in message.walk() if one.get_content_type() == "text/plain")
    payload = part.get_payload(decode=True)
    assert isinstance(payload, bytes)
    return payload.decode().replace("\r\n", "\n")


PLACE = re.compile(r"(?:this disclosure,|Positions? in the record:) (\d+)")


def in_order(sink: MailSink) -> bool:
    """Whether no reader got an older letter of a kind after a newer one."""
    places: dict[tuple[str, str], list[int]] = {}
    for raw in sink.accepted:
        message = message_from_bytes(raw)
        kind = message["X-Scalewitness-Letter"]
        if kind in NOW:
            place = PLACE.search(text_of(message))
            assert place is not None
            places.setdefault((message["To"], kind), []).append(int(place[1]))
    return all(found == sorted(found) for found in places.values())


def last_words(sink: MailSink) -> dict[tuple[str, str], str]:
    """By reader and kind of letter, which label the last of them says is in force."""
    found = {}
    for raw in sink.accepted:
        message = message_from_bytes(raw)
        kind = message["X-Scalewitness-Letter"]
        if kind in NOW:
            text = text_of(message)
            said = NOW[kind].search(text)
            assert said is not None, text
            since = SINCE.search(text)
            found[message["To"], kind] = (since or said)[1]
    return found


@pytest.mark.parametrize("seed", range(12))
def test_the_last_word_is_true(
    world: World, tmp_path: Path, settings: LazySettings, seed: int
) -> None:
    rng = random.Random(seed)  # noqa: S311  a drawn story, no secret
    fault = Fault(rng)
    animal = world.verified("V1")
    world.sold(animal)
    Letter.objects.all().delete()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    with MailSink(tmp_path / "mail", faults=Faults(turns=fault.turns())) as sink:
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", sink.port
        waiting: list[list[Letter]] = []
        for _ in range(rng.randint(4, 9)):
            world.pass_time(minutes=rng.choice([0.1, 1, 20, 600]))
            fall_or_rise(world, animal)
            for _ in range(rng.randint(0, 3)):
                what = rng.random()
                if what < 0.4:
                    waiting.append(in_hand(world.now))
                elif what < 0.6 and waiting:
                    finish(waiting.pop(rng.randrange(len(waiting))), world.now)
                elif what < 0.7:
                    waiting.clear()  # a worker died
                else:
                    deliver_due(world.now)
                world.pass_time(seconds=rng.choice([1, 15, 400]))
        fault.on = False
        for left in waiting:
            finish(left, world.now)
        for _ in range(12):
            world.pass_time(seconds=LEASE.total_seconds() + 3600)
            deliver_due(world.now)
        check(world, animal, sink)


def fall_or_rise(world: World, animal: Animal) -> None:
    """Somebody new finds a female, or whoever did so last takes it back."""
    if world.label(animal).startswith("verified"):
        guest = keeper(f"Guest {Call.objects.count()}")
        world.call(guest, animal, "female", visit=world.visit(guest, animal))
        return
    call = Call.objects.filter(animal=animal, conclusion="female").latest("position")
    body = {"call": str(call.pk)}
    world.say(Keeper.objects.get(pk=call.by), "call_withdrawn", animal.pk, body)


def check(world: World, animal: Animal, sink: MailSink) -> None:
    label = world.label(animal)
    words = last_words(sink)
    assert set(words.values()) == {label}, words
    assert in_order(sink)
    assert not Letter.objects.exclude(state__in=["sent", "joined"]).exists()
    buyers = [message_from_bytes(raw) for raw in sink.accepted]
    told = " ".join(text_of(one) for one in buyers if one["X-Scalewitness-Letter"] == "disclosure")
    told = " ".join(told.split())
    for owed in Disclosure.objects.all():
        assert re.search(rf" {owed.now['position']}[,;.]", told), (
            "a disclosure that nobody was told"
        )
    ids = Counter((one["Message-ID"], one["Subject"]) for one in buyers)
    assert len({message_id for message_id, _ in ids}) == len(ids)
