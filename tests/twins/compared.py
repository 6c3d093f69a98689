"""All that a guest gets: every endpoint, page, feed, letter, receipt and file, made comparable.

Ids, times, signatures and hashes are left out, and what those change in turn; positions stay, as
the two logs are equally long. The ids of what is on the guest's sheet, and of the twin, stay apart:
which of them it is may not be told either.
"""

import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

from django.core.cache import cache
from django.db import transaction
from django.http import HttpResponseBase
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader
from tests.api.matrix import ROWS, Row, fill
from tests.api.stage import Stage
from tests.pages.addresses import NAMES, address, ids_for, parts_of
from tests.twins.histories import Story, Twins, own_call, told

from scalewitness.breeding.queries.uses import informed_by_use
from scalewitness.calls.models import Call
from scalewitness.domain.sync import read_cursor
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.services import enrol_device
from scalewitness.receipts.queries import readable
from scalewitness.sales.models import Sale

NOWHERE = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
CURSOR = re.compile(r'"cursor": ?"([^"]*)"')
LEFT_OUT = tuple(
    (re.compile(pattern), by)
    for pattern, by in (
        (r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", "id"),
        (r"20\d\d-\d\d-\d\dT[0-9:.]+(?:Z|\+00:00)?", "time"),
        (r"\b\d\d:\d\d(?::\d\d)?\b", "time"),
        (r"[A-Za-z0-9+/_-]{40,}[=]*", "bytes"),
        # How deep a path lies is chance: paths are as good as random.
        (r'"siblings":\[[^]]*\]', '"siblings":[]'),
        (r'name="csrfmiddlewaretoken" value="[^"]*"', "token"),
        (r"\b[0-9a-f]{64}\b", "hash"),
        (r"\b1[78]\d{11}\b", "milliseconds"),
        (r"\b[A-Z]{4}-[A-Z]{4}\b", "code"),
    )
)
TO_SCALE = re.compile(r"true to scale: .*?</g>\n</svg>", re.DOTALL)
ACROSS = re.compile(r'"\d+(?:\.\d+)?%"')


def plain(text: str) -> str:
    text = CURSOR.sub(lambda found: f'"cursor": {_held(found[1])}', text)
    for pattern, by in LEFT_OUT:
        text = pattern.sub(by, text)
    # Where a drawing of times has its marks is told by times alone, and by when it is drawn.
    return TO_SCALE.sub(lambda drawn: ACROSS.sub('"time"', drawn[0]), text)


def _held(cursor: str) -> str:
    """What a cursor of the feed holds, but for ids and for numbers of edits, which no undoing
    sets back."""
    read = read_cursor(cursor)
    return repr((read.facts, read.covered, read.sight.size, read.profile))


@dataclass
class Got:
    """What the guest got, by where from; ``counts``: how much of each kind; ``named``: ids that
    stay apart."""

    answers: dict[str, str] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    named: dict[str, str] = field(default_factory=dict)

    def add(self, kind: str, name: str, answer: str) -> None:
        self.counts[kind] += 1
        for one, by in self.named.items():
            answer = answer.replace(one, by)
        self.answers[f"{kind}: {name}"] = plain(answer)


def everything(
    seed: int, *, rich: bool, thorough: bool, story: Story | None = None
) -> tuple[Got, Twins]:
    """All that the guest of that history gets; what it left in the database is undone. Unless
    ``thorough``, of the guest's own things only what is looked at by its id."""
    got = Got()
    with transaction.atomic():
        cursor: str | None = None
        for step, on in enumerate(told(seed, rich=rich, story=story)):
            if step == 0:
                sheet = {"first": on.seen, "second": on.second, "twin": on.hidden}
                got.named = {str(animal.pk): name for name, animal in sheet.items()}
                device, token = enrol_device(on.guest, "phone", timezone.now())
                api = Client(headers={"Authorization": f"Bearer {token}"})
            cursor = _pull(got, api, step, cursor)
        _pull(got, api, 1000, None)
        _ask(got, on, api, str(device.pk), thorough=thorough)
        _open(got, on, thorough=thorough)
        _receipts(got, on, api if thorough else None)
        _letters(got, on)
        _call(got, on)
        transaction.set_rollback(True)
    return got, on


def _pull(got: Got, api: Client, step: int, cursor: str | None) -> str | None:
    """The feed, from the cursor to its end."""
    more, part = True, 0
    while more:
        cache.clear()
        answer = api.get("/api/v1/changes", {"limit": 20} | ({"cursor": cursor} if cursor else {}))
        got.add("feed", f"{step}.{part}", shown(answer))
        body = answer.json()
        cursor, more, part = body["cursor"], body["more"], part + 1
    return cursor


def shown(answer: HttpResponseBase) -> str:
    """Status, headers and body of an answer."""
    kind = answer.headers.get("Content-Type", "")
    raw = b"".join(answer) if answer.streaming else answer.content  # type: ignore[attr-defined]
    body = _text_of(raw) if kind == "application/pdf" else raw.decode(errors="replace")
    left = {"ETag", "Set-Cookie", "Content-Length", "Date"}
    headers = sorted((name, one) for name, one in answer.headers.items() if name not in left)
    return f"{answer.status_code} {headers}\n{body}"


def _text_of(data: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(data)).pages)


def _stages(on: Twins, device: str) -> Iterator[tuple[str, Stage]]:
    """What is asked about: the animal on the sheet in the host's collection; then the guest's own
    young in theirs."""
    ours = {"device_owner": device, "keeper_owner": str(on.guest.pk), **on.ids}
    for where, animal, room in (
        ("sheet", on.seen, on.world.collection),
        ("own", on.own[0], on.shelf),
    ):
        stage = Stage(on.world)
        stage.ids = ours | {"collection": str(room.pk), "young": str(animal.pk)}
        stage.ids |= {"blind": str(animal.pk), "sold": str(animal.pk)}
        stage.ids.setdefault("other", str(on.own[1].pk))
        yield where, stage


def _ask(got: Got, on: Twins, api: Client, device: str, *, thorough: bool) -> None:
    """Every operation of the API; whatever it changes is undone."""
    for where, stage in _stages(on, device):
        for row in ROWS:
            if not (thorough or where == "sheet" or (row.method == "GET" and "{" in row.path)):
                continue
            path, body = _filled(row, stage)
            cache.clear()
            with transaction.atomic():
                answer = _send(api, row, path, body)
                transaction.set_rollback(True)
            got.add("endpoint", f"{row}, {where}", shown(answer))


def _filled(row: Row, stage: Stage) -> tuple[str, Any]:
    """What the row asks for; where nothing came of the history, there is nothing."""
    while True:
        try:
            return fill(row.path, stage.ids), row.body(stage) if row.body else None
        except KeyError as missing:
            stage.ids[str(missing.args[0])] = NOWHERE
        except Sale.DoesNotExist:  # nothing was offered that could be confirmed
            return fill(row.path, stage.ids), {}


def _send(api: Client, row: Row, path: str, body: Any) -> HttpResponseBase:
    more: dict[str, Any] = {"headers": row.headers}
    if body is not None:
        raw = isinstance(body, bytes)
        more["data"] = body if raw else json.dumps(body)
        more["content_type"] = "image/jpeg" if raw else "application/json"
    send = getattr(api, row.method.lower())
    answer: HttpResponseBase = send(f"/api/v1/{path}", **more)
    return answer


def _open(got: Got, on: Twins, *, thorough: bool) -> None:
    """Every page."""
    browser = Client()
    browser.force_login(on.guest)
    for where, stage in _stages(on, NOWHERE):
        for name in NAMES:
            if not (thorough or where == "sheet" or {"animal_id", "collection_id"} & parts(name)):
                continue
            cache.clear()
            browser.cookies.pop("messages", None)
            with transaction.atomic():
                answer = browser.get(_page(name, stage))
                transaction.set_rollback(True)
            got.add("page", f"{name}, {where}", shown(answer))


def parts(name: str) -> set[str]:
    return set(parts_of(name))


def _page(name: str, stage: Stage) -> str:
    while True:
        try:
            return address(name, ids_for(name, stage))
        except KeyError as missing:
            stage.ids[str(missing.args[0])] = NOWHERE


def _receipts(got: Got, on: Twins, api: Client | None) -> None:
    """Of every entry of the log what it says, by the rule that the endpoint follows, and whether
    the endpoint answers."""
    entries = list(Entry.objects.order_by("position"))
    open_ones = readable(on.guest.pk, entries, timezone.now())
    for entry in entries:
        answer = bytes(entry.leaf).decode() if entry.position in open_ones else "none"
        if api is not None:
            cache.clear()
            answer += str(api.get(f"/api/v1/receipts/{entry.fact}").status_code)
        got.add("receipt", f"{entry.position} {entry.kind}", answer)


def _letters(got: Got, on: Twins) -> None:
    """All letters to the guest, as they would leave."""
    for number, letter in enumerate(Letter.objects.filter(to=on.guest.email).order_by("pk")):
        composed = compose(letter)
        got.add("letter", str(number), f"{composed.subject}\n{composed.body}")


def _call(got: Got, on: Twins) -> None:
    """Their own call is a blind one, in both worlds."""
    now = timezone.now()
    assert informed_by_use([on.guest.pk], [on.seen.pk], now) == {on.guest.pk: set()}
    made = accept_one(own_call(on, now), Actor(keeper=on.guest.pk), now)
    assert Call.objects.get(pk=made.id).blind, on.taken
    got.add("call", "own", f"{made.status} {made.position}")
