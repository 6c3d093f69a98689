"""Random stories: a verified sex falls and comes back while a mail host is slow, refuses, times out
after taking, hangs up, answers late, is down and comes back. An oracle then reads the letters as
their readers do.
"""

import random
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from email import message_from_bytes
from email.message import Message
from pathlib import Path
from time import sleep
from typing import Final

from django.conf import settings
from django.core.mail import get_connection
from django.test import override_settings
from tests.world import World, keeper, vouched

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.disclosures.models import Disclosure
from scalewitness.mail.models import Letter
from scalewitness.mail.services.delivering import LEASE, claim, deliver, deliver_due
from scalewitness.people.models import Keeper
from stack.mailsink import Faults, MailSink, Turn
from stack.ready import free_port

QUICK: tuple[Turn, ...] = ("store", "store", "refuse", "drop", "store_and_drop")
SLOW: tuple[Turn, ...] = ("store_and_wait", "store_late", "wait")
CLIENT_TIMEOUT: Final = 0.25
"""Seconds for which a worker waits for the mail host in these stories."""
NOW = {
    "disclosure": re.compile(r"WHAT THE RECORD SAYS NOW\n  (.+)\n"),
    "standing_notice": re.compile(r"\n  Now     (.+)\n"),
}
SINCE = re.compile(r"it now says\n“(.+)”\.")
PLACE = re.compile(r"(?:this disclosure,|Positions? in the log [^\s:]+:) (\d+)")


@dataclass
class Figures:
    """What came of some stories. ``doubled``: accepted again under their own Message-ID, which
    cannot be helped; the rest must be empty."""

    stories: int = 0
    letters: int = 0
    doubled: int = 0
    wrong: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    doubled_anew: list[str] = field(default_factory=list)

    @property
    def faults(self) -> list[str]:
        return [*self.wrong, *self.missing, *self.doubled_anew]


class MailHost:
    """What becomes of each message: at random while ``bad``, else stored."""

    def __init__(self, rng: random.Random, folder: Path) -> None:
        self.rng, self.bad = rng, True
        self.sink = MailSink(
            folder, faults=Faults(turns=self._turns(), client_timeout=CLIENT_TIMEOUT)
        )

    def _turns(self) -> Iterator[Turn]:
        while True:
            kind = SLOW if self.rng.random() < 0.15 else QUICK
            yield self.rng.choice(kind) if self.bad else "store"

    def go_down(self) -> None:
        settings.EMAIL_PORT = free_port()

    def come_back(self) -> None:
        settings.EMAIL_PORT = self.sink.port

    def settle(self) -> None:
        """What it took is put away within the seconds that a later letter is held."""
        while self.sink.late:
            sleep(CLIENT_TIMEOUT / 10)


def tell(world: World, seed: int, folder: Path, figures: Figures) -> None:
    """One story, in an empty post room."""
    rng = random.Random(seed)  # noqa: S311  a drawn story, no secret
    animal = world.verified("V1")
    world.sold(animal)
    Letter.objects.all().delete()
    host = MailHost(rng, folder)
    backend = "django.core.mail.backends.smtp.EmailBackend"
    with (
        host.sink,
        override_settings(
            EMAIL_BACKEND=backend, EMAIL_HOST="127.0.0.1", EMAIL_TIMEOUT=CLIENT_TIMEOUT
        ),
    ):
        host.come_back()
        waiting = _pressed(world, animal, host, rng)
        host.bad = False
        host.come_back()
        for left in waiting:
            _finish(left, world.now)
        for _ in range(12):
            world.pass_time(seconds=LEASE.total_seconds() + 3600)
            deliver_due(world.now)
            host.settle()
    figures.stories += 1
    _judge(world, animal, host.sink, figures, f"story {seed}")


def _pressed(
    world: World, animal: Animal, host: MailHost, rng: random.Random
) -> list[list[Letter]]:
    """Falls and returns, with workers that hang; the letters that they still have in hand."""
    waiting: list[list[Letter]] = []
    for _ in range(rng.randint(4, 9)):
        world.pass_time(minutes=rng.choice([0.1, 1, 20, 600]))
        _fall_or_rise(world, animal)
        (host.go_down if rng.random() < 0.2 else host.come_back)()
        for _ in range(rng.randint(0, 3)):
            what = rng.random()
            if what < 0.4:
                waiting.append(claim(world.now, 20))  # and the mail host lets it wait
            elif what < 0.6 and waiting:
                _finish(waiting.pop(rng.randrange(len(waiting))), world.now)
            elif what < 0.7:
                waiting.clear()  # a worker died
            else:
                deliver_due(world.now)
            host.settle()
            world.pass_time(seconds=rng.choice([1, 15, 400]))
    return waiting


def _finish(letters: list[Letter], now: datetime) -> None:
    connection = get_connection()
    for letter in letters:
        deliver(letter, connection, now)
        connection.close()


def _fall_or_rise(world: World, animal: Animal) -> None:
    """Somebody new finds a female, or whoever did so last takes it back."""
    if world.label(animal).startswith("verified"):
        guest = keeper(f"Guest {Call.objects.count()} {world.house}".strip())
        vouched(guest, world.now)
        world.call(guest, animal, "female", visit=world.visit(guest, animal))
        return
    call = Call.objects.filter(animal=animal, conclusion="female").latest("position")
    body = {"call": str(call.pk)}
    world.say(Keeper.objects.get(pk=call.by), "call_withdrawn", animal.pk, body)


# --- the oracle -------------------------------------------------------------------------


def _judge(world: World, animal: Animal, sink: MailSink, figures: Figures, story: str) -> None:
    read = [message_from_bytes(raw) for raw in sink.accepted]
    figures.letters += len(read)
    label, words = world.label(animal), _last_words(read)
    figures.wrong += [
        f"{story}: {kind} to {who} says {said}, and it is {label}"
        for (who, kind), said in words.items()
        if said != label
    ]
    figures.wrong += [f"{story}: {who} read of an older change last" for who in _out_of_order(read)]
    figures.missing += [f"{story}: {one}" for one in _missing(animal, read)]
    counted = Counter((one["Message-ID"], one["Subject"]) for one in read)
    figures.doubled += len(read) - len({message_id for message_id, _ in counted})
    same = Counter((one["To"], _place(one)) for one in _once(read) if one[KIND] in NOW)
    figures.doubled_anew += [f"{story}: {one} came twice" for one, n in same.items() if n > 1]


KIND: Final = "X-Scalewitness-Letter"


def _once(read: list[Message]) -> list[Message]:
    return list({one["Message-ID"]: one for one in read}.values())


def _missing(animal: Animal, read: list[Message]) -> Iterator[str]:
    if Letter.objects.exclude(state__in=["sent", "joined"]).exists():
        yield "a letter never left"
    told = " ".join(_text(one) for one in read if one[KIND] == "disclosure")
    told = " ".join(told.split())
    for owed in Disclosure.objects.filter(animal=animal):
        position = owed.now["position"]
        if not re.search(rf" {position}[,;.]", told):
            yield f"nobody was told of the disclosure about position {position}"


def _text(message: Message) -> str:
    part = next(one for one in message.walk() if one.get_content_type() == "text/plain")
    payload = part.get_payload(decode=True)
    assert isinstance(payload, bytes)
    return payload.decode().replace("\r\n", "\n")


def _place(message: Message) -> int:
    place = PLACE.search(_text(message))
    assert place is not None
    return int(place[1])


def _out_of_order(read: list[Message]) -> set[str]:
    """Readers who got an older letter of a kind after a newer one."""
    places: dict[tuple[str, str], list[int]] = {}
    for message in read:
        if message[KIND] in NOW:
            places.setdefault((message["To"], message[KIND]), []).append(_place(message))
    return {who for (who, _), found in places.items() if found != sorted(found)}


def _last_words(read: list[Message]) -> dict[tuple[str, str], str]:
    """By reader and kind of letter, which label the last of them says is in force."""
    found = {}
    for message in read:
        if (kind := message[KIND]) in NOW:
            text = _text(message)
            said = NOW[kind].search(text)
            assert said is not None, text
            since = SINCE.search(text)
            found[message["To"], kind] = (since or said)[1]
    return found
