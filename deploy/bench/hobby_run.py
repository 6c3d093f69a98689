"""The measurements of `hobby.py`, which sets Django up before this is imported."""

import asyncio
import random
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple
from urllib.parse import quote

from asking import Answer, Request, ask, codes
from hobby_costs import Cost, Meter, Played, lateness, log_watched, settle
from hobby_play import Hobby, Person, Refused, item, probed
from hobby_year import DOINGS
from httpx import HTTPError
from memory import of_each

from scalewitness.mail.models import Letter
from stack.local import LocalStack

PEOPLE = 24
CLIENTS = 8
TIMES: Mapping[str, int] = {
    "turn": 200,
    "opening": 40,
    "page": 80,
    "sign-in": 20,
    "round": 30,
    "animal": 40,
    "call": 60,
    "visit": 16,
    "clutch": 16,
    "photo": 30,
    "sale": 24,
}
"""How often each operation is played to learn what it costs."""
RESTS = 20.0
WAITS = 10
"""Seconds for which a phone asks to wait, where places are counted."""
PUSHES, PUSHED_APART = 12, 0.5
"""By somebody else meanwhile; and seconds between them."""
LOOKED_AT_MEMORY = 15.0


def costs(hobby: Hobby, meter: Meter, stack: LocalStack, times: float) -> dict[str, Cost]:
    """Of each operation, played alone, one after the other, all that follows from it included."""
    player, found = hobby.player(0, 1), {}
    for name in DOINGS:  # first plans, caches, connections
        for _ in range(PEOPLE if name in {"turn", "sign-in"} else 3):
            player.play(name)
    settle()
    meter.rest(RESTS * min(1.0, times))
    for name, usual in TIMES.items():
        count = max(2, round(times * usual))
        played, letters = Played(), Letter.objects.count()
        player.line.asked.clear()
        before = meter.read()
        with log_watched(stack, played):
            for _ in range(count):
                player.play(name)
        settle()
        after = meter.read()
        played.seconds = [seconds for _, seconds in player.line.asked]
        found[name] = meter.between(before, after, count, played)
        found[name].letters = (Letter.objects.count() - letters) / count
    return found


@dataclass
class Mixed:
    """What came of the mix: operations, requests and their faults, in ``seconds``; shares of the
    time for which the log was held, and cores spent by group."""

    operations: int
    answers: list[tuple[int, float]]
    refused: list[str]
    seconds: float
    held: float
    cores: dict[str, float]
    backends: int
    late: list[float]
    memory: list[tuple[int, dict[str, float]]] = field(default_factory=list)

    @property
    def failed(self) -> int:
        return sum(status >= 500 and status != 503 for status, _ in self.answers)

    @property
    def turned_away(self) -> int:
        return sum(status in {429, 503} for status, _ in self.answers)


def mixed(hobby: Hobby, meter: Meter, stack: LocalStack, hour: str, seconds: float) -> Mixed:
    """So many clients do what keepers do in that hour, each the next as soon as it was answered."""
    players = [hobby.player(number, CLIENTS) for number in range(CLIENTS)]
    names, until = list(DOINGS), time.perf_counter() + seconds
    weights = [DOINGS[name].hourly(hour) for name in names]
    done, refused = [0] * CLIENTS, list[str]()
    backends, seen = [0], list[tuple[int, dict[str, float]]]()

    def client(number: int) -> None:
        dice = random.Random(number)  # noqa: S311  it draws what is played
        while time.perf_counter() < until:
            (name,) = dice.choices(names, weights)
            try:
                players[number].play(name)
                done[number] += 1
            except (Refused, HTTPError) as fault:
                refused.append(f"{name}: {fault}")

    def watch() -> None:
        while (left := until - time.perf_counter()) > 0:
            backends[0] = max(backends[0], meter.backends())
            asked = sum(len(one.line.asked) for one in players)
            sizes = {name: sum(of_each(one)) for name, one in meter.roots().items()}
            seen.append((asked, sizes))
            time.sleep(min(left, LOOKED_AT_MEMORY))

    played, before = Played(), meter.read()
    with log_watched(stack, played):
        _together(*(lambda number=number: client(number) for number in range(CLIENTS)), watch)
    after = meter.read()
    settle()
    took = after.at - before.at
    return Mixed(
        sum(done),
        [answer for one in players for answer in one.line.asked],
        refused,
        took,
        played.held / took,
        {name: (after.cores[name] - before.cores[name]) / took for name in after.cores},
        backends[0],
        lateness(took + 60),
        seen,
    )


def _together(*parts: Callable[[], None]) -> None:
    threads = [threading.Thread(target=part) for part in parts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


class Waited(NamedTuple):
    """Of so many phones that asked to wait at once: how many could, how many were answered at
    once, and the ``statuses`` of all; the ``web``'s memory, process by process, in MB; core seconds
    ``spent`` meanwhile by web and PostgreSQL."""

    asked: int
    held: int
    at_once: int
    statuses: str
    web: list[float]
    spent: float


def waiting(hobby: Hobby, meter: Meter, url: str, phones: int, *, pushing: bool) -> Waited:
    """Phones that wait for a change; while somebody pushes what none of them may see, or not."""
    player, people = hobby.player(0, 1), hobby.people
    for person in people:
        player.turn(person)
    asking = [
        Request(
            "wait",
            "GET",
            f"/api/v1/changes?limit=1000&wait={WAITS}&cursor={quote(person.cursor)}",
            [f"Authorization: Bearer {person.token}"],
            may_wait=True,
        )
        for number in range(phones)
        for person in [people[number % len(people)]]
    ]
    stranger = Person()
    before = meter.read()
    answers = asyncio.run(_all(url, asking, stranger if pushing else None))
    after = meter.read()
    took = after.at - before.at
    well = [one for one in answers if one.status == 200]
    held = sum(one.age > WAITS - 1 for one in well)
    used = ("web", "postgres")
    return Waited(
        phones,
        held,
        len(well) - held,
        codes(answers),
        of_each(meter.roots()["web"]),
        sum(after.cores[one] - before.cores[one] - took * meter.idle[one] for one in used),
    )


async def _all(url: str, asking: list[Request], stranger: Person | None) -> list[Answer]:
    waits = [asyncio.create_task(ask(url, one)) for one in asking]
    await asyncio.sleep(2)
    if stranger:
        header = [f"Authorization: Bearer {stranger.token}"]
        for animal in stranger.animals[:PUSHES]:
            sent = {"items": [item("call_made", animal, probed(animal, "male"))]}
            await ask(url, Request("push", "POST", "/api/v1/push", header, sent))
            await asyncio.sleep(PUSHED_APART)
    return list(await asyncio.gather(*waits))


def letters_a_second(hobby: Hobby, stack: LocalStack, sales: int) -> tuple[int, float]:
    """How many letters waited for a worker that was away, and the seconds that it took to send
    them from being ready on."""
    stack.supervisor.end("worker")
    player, before = hobby.player(0, 1), Letter.objects.filter(state=Letter.State.SENT).count()
    for _ in range(sales):
        player.play("sale")
    stack.start_worker()
    began = time.perf_counter()
    settle()
    took = time.perf_counter() - began
    return Letter.objects.filter(state=Letter.State.SENT).count() - before, took
