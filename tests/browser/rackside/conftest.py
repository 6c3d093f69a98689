"""Rackside on a phone: Chromium on the whole running service, its network cut at will."""

import json
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from shutil import copytree
from typing import Any

import httpx
import psycopg
import pytest
import redis
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright
from tests.plugins.services import Services
from tests.stacks import database_for, start, vouch
from tests.waiting import ENOUGH, ENOUGH_MS
from tests.world import PASSWORD

from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.leaf import Leaf, read_leaf
from stack.local import ROOT, LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor

HERE = "/rackside/"
APP = ROOT / "clients" / "rackside"
PHONE = {"width": 360, "height": 740}
CUT_OFF = "net::ERR_INTERNET_DISCONNECTED"
"""What Chromium itself notes on the console when a request meets the cut network."""
ENDED = re.compile(r"409 \(Conflict\).*/visits/[^/]+/sheet'")
"""What it notes of a sheet that was asked for just as its visit was called off."""
COME_AGAIN = "503 (Service Unavailable)"
"""What it notes when a busy server asks to come again; a phone does, and no test hangs on when."""


def fresh_id() -> str:
    return str(uuid7(time.time_ns() // 1_000_000, os.urandom(10)))


def moment(offset: float = 0.0) -> str:
    return rfc3339(datetime.fromtimestamp(time.time() + offset, UTC))


def said(kind: str, about: str, body: dict[str, Any]) -> dict[str, Any]:
    return {"id": fresh_id(), "kind": kind, "at": moment(), "about": about, "body": body}


@dataclass
class Racks:
    """The service, with Odile who keeps snakes and Greta who comes to check them."""

    stack: LocalStack
    odile: httpx.Client
    greta: httpx.Client

    def push(self, who: httpx.Client, *items: dict[str, Any]) -> list[dict[str, Any]]:
        answer = who.post("push", json={"items": list(items)}).raise_for_status().json()
        assert {one["status"] for one in answer["items"]} == {"accepted"}, answer
        return list(answer["items"])

    def visit(self, *tags: str, blind: bool = True, opens: float = -3600) -> "Visit":
        """Odile's animals of these tags, and Greta's visit to them, which she accepted; it
        opens so many seconds from now."""
        collection = fresh_id()
        self.odile.post("collections", json={"id": collection, "name": "Room"}).raise_for_status()
        animals = {tag: fresh_id() for tag in tags}
        registered = {"collection": collection, "species": "python_regius"}
        items = []
        for tag, animal in animals.items():
            items.append(said("animal_registered", animal, registered))
            items.append(said("identifier_assigned", animal, {"scheme": "tag", "code": tag}))
        made = Visit(fresh_id(), animals)
        body = {
            "collection": collection,
            "guest": self.greta.get("keepers/me").json()["id"],
            "animals": list(animals.values()),
            "opens": moment(opens),
            "closes": moment(86_400),
            "blind": blind,
        }
        self.push(self.odile, *items, said("visit_invited", made.id, body))
        self.push(self.greta, said("visit_accepted", made.id, {}))
        return made

    def entries(self, kind: str = "") -> list[Leaf]:
        """The log from its first entry on, or those of one kind."""
        with psycopg.connect(self.stack.owner_url) as connection:
            rows = connection.execute("SELECT leaf FROM ledger_entry ORDER BY position").fetchall()
        leaves = [read_leaf(bytes(leaf)) for (leaf,) in rows]
        return [one for one in leaves if kind in ("", one.kind)]

    def calls_on(self, visit: "Visit") -> list[Leaf]:
        animals = set(visit.animals.values())
        return [one for one in self.entries("call_made") if one.about in animals]

    def release(self, more: str) -> None:
        """Another version of the app, which differs by something at the end of its style."""
        style = Path(self.stack.environment["RACKSIDE_ROOT"]) / "rackside.css"
        style.write_text(style.read_text(encoding="utf-8") + more, encoding="utf-8")
        self.stack.supervisor.end("web")
        self.stack.start_web()

    def forgive(self) -> None:
        """Signing in is counted by the minute; one machine plays many phones here."""
        with redis.from_url(self.stack.environment["REDIS_URL"]) as counted:
            for key in counted.scan_iter("*throttle*"):
                counted.delete(key)


@dataclass(frozen=True)
class Visit:
    """Its id, and its animals by tag."""

    id: str
    animals: dict[str, str]


@pytest.fixture(scope="session")
def racks(
    services: Services, untouched_database: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Racks]:
    folder = tmp_path_factory.mktemp("racks")
    with (
        database_for(services, untouched_database, "racks") as database,
        Supervisor(folder / "run", say=lambda name, text: None) as supervisor,
    ):
        stack = LocalStack(supervisor, folder / "run", free_port(), database)
        stack.environment["RACKSIDE_ROOT"] = str(copytree(APP, folder / "app"))
        start(stack)
        with (
            closing(keeper_at(stack, "odile")) as odile,
            closing(keeper_at(stack, "greta")) as greta,
        ):
            yield Racks(stack, odile, greta)
        for name in ("worker", "web"):
            supervisor.kill(name)  # no more is asked of them: nobody waits for what they have open


def keeper_at(stack: LocalStack, name: str) -> httpx.Client:
    email = f"{name}@keepers.example"
    client = httpx.Client(base_url=f"{stack.url}/api/v1/", timeout=ENOUGH)
    given = {"name": name.title(), "email": email, "password": PASSWORD}
    client.post("keepers", json=given).raise_for_status()
    device = {"email": email, "password": PASSWORD, "name": "desk"}
    token = client.post("devices", json=device).raise_for_status().json()["token"]
    vouch(stack, email)
    client.headers["Authorization"] = f"Bearer {token}"
    return client


@pytest.fixture(scope="module")
def phone_browser(racks: Racks, chromium_path: Path) -> Iterator[Browser]:
    """For one module: Playwright's event loop would keep other modules from the database."""
    with sync_playwright() as playwright:
        options = ["--no-sandbox", "--disable-dev-shm-usage"]
        browser = playwright.chromium.launch(executable_path=chromium_path, args=options)
        yield browser
        browser.close()


@dataclass
class Phone:
    """One phone: its browser's store and its open tabs. ``complaints``: what the console
    called an error, breaches of the content policy among them."""

    context: BrowserContext
    expected: tuple[str, ...] = ()
    complaints: list[str] = field(default_factory=list)

    def tab(self, where: str = "") -> Page:
        page = self.context.new_page()
        page.on(
            "console",
            lambda one: one.type == "error" and self._complain(f"{one.text} {one.location}"),
        )
        page.on("pageerror", lambda fault: self._complain(str(fault)))
        page.goto(HERE + where)
        return page

    def _complain(self, text: str) -> None:
        told = (CUT_OFF, COME_AGAIN, *self.expected)
        if not (any(one in text for one in told) or ENDED.search(text)):
            self.complaints.append(text)

    def signed_in(self, name: str = "greta") -> Page:
        """A tab after signing in, with the shell kept: good for working offline."""
        page = self.tab()
        sign_in(page, name)
        page.evaluate("navigator.serviceWorker.ready")
        return page


def sign_in(page: Page, name: str, heading: str = "Visits") -> None:
    page.get_by_label("E-mail").fill(f"{name}@keepers.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name=heading)).to_be_visible()


CLOCK = """
const Real = Date;
const off = () => { try { return Number(localStorage.getItem("off") ?? %d); } catch { return 0; } };
globalThis.Date = class extends Real {
  constructor(...given) { super(...(given.length ? given : [Real.now() + off()])); }
  static now() { return Real.now() + off(); }
};
"""


def wrong_clock(phone: Phone, off: float = 0) -> None:
    """The phone's clock is so many seconds off, in pages opened from now on."""
    phone.context.add_init_script(CLOCK % (off * 1000))


def set_clock(page: Page, off: float) -> None:
    """As its owner sets it."""
    page.evaluate("(off) => localStorage.setItem('off', off)", off * 1000)


def hurried(phone: Phone) -> None:
    """What it draws by lot is the least each time: so its waits before another try are short."""
    phone.context.add_init_script("Math.random = () => 0;")


class Pushes(list[float]):
    """When this phone pushed, in seconds."""

    def __init__(self, phone: Phone) -> None:
        super().__init__()
        phone.context.on(
            "request", lambda one: one.url.endswith("/push") and self.append(time.monotonic())
        )

    def were_few(self, page: Page, over: float = 4.0) -> None:
        """Over so many seconds from the first on, and in any ten: five at most."""
        assert self
        page.wait_for_timeout(max(0.0, over - (time.monotonic() - self[0])) * 1000)
        most = max(sum(first <= one < first + 10 for one in self) for first in self)
        assert most <= 5, f"{most} pushes within ten seconds"


NewPhone = Callable[..., Phone]


@pytest.fixture
def phones(racks: Racks, phone_browser: Browser) -> Iterator[NewPhone]:
    """Makes phones; afterwards, none may have complained."""
    made: list[Phone] = []

    def new(*expected: str, **options: Any) -> Phone:
        racks.forgive()
        options = {"viewport": PHONE, "base_url": racks.stack.url} | options
        context = phone_browser.new_context(**options)
        context.set_default_timeout(ENOUGH_MS)
        made.append(Phone(context, expected))
        return made[-1]

    yield new
    for phone in made:
        phone.context.close()
    assert [text for phone in made for text in phone.complaints] == []


@pytest.fixture
def phone(phones: NewPhone) -> Phone:
    return phones()


def until(page: Page, look: Callable[[], object], what: str) -> None:
    """Waits until `look` finds it; the page goes on meanwhile."""
    limit = time.monotonic() + ENOUGH
    while not look():
        if time.monotonic() > limit:
            pytest.fail(f"waited {ENOUGH:g} s in vain for {what}")
        page.wait_for_timeout(50)


DUMP = """async () => {
  const db = await new Promise((done) => {
    const asked = indexedDB.open("rackside"); asked.onsuccess = () => done(asked.result); });
  const names = [...db.objectStoreNames], all = {};
  const step = db.transaction(names);
  await Promise.all(names.map((name) => new Promise((done) => {
    const asked = step.objectStore(name).getAll();
    asked.onsuccess = () => { all[name] = asked.result; done(); }; })));
  db.close();
  return JSON.parse(JSON.stringify(all));
}"""


def stored(page: Page) -> dict[str, Any]:
    """Everything in the phone's store."""
    return dict(page.evaluate(DUMP))


TEN_SECONDS_LATER = """async () => {
  const open = indexedDB.open("rackside");
  const db = await new Promise((done) => { open.onsuccess = () => done(open.result); });
  const step = db.transaction("outbox", "readwrite");
  const asked = step.objectStore("outbox").getAll();
  asked.onsuccess = () => asked.result.filter((one) => one.state === "saved" && !one.tries)
    .forEach((one) => step.objectStore("outbox").put({...one, rest: null}));
  await new Promise((done) => { step.oncomplete = done; });
  db.close();
  document.dispatchEvent(new Event("visibilitychange"));
}"""


def ten_seconds_later(page: Page) -> None:
    """What was stored can no longer be undone: sending has waited that out."""
    page.evaluate(TEN_SECONDS_LATER)


def all_sent(page: Page) -> None:
    ten_seconds_later(page)
    expect(page.locator("#waiting")).to_have_text("Nothing waits")


def draft_kept(page: Page, *marks: str) -> None:
    """Waits until what was begun is stored so that its JSON holds these."""
    until(
        page,
        lambda: all(one in json.dumps(stored(page)["drafts"]) for one in marks),
        f"a draft with {marks}",
    )


# --- what a thumb does


def open_sheet(page: Page, visit: Visit) -> None:
    page.goto(f"{HERE}#/visit/{visit.id}")
    expect(page.get_by_label("Find by tag")).to_be_visible()  # once it was fetched


def pick(page: Page, legend: str, label: str) -> None:
    group = page.get_by_role("group", name=legend, exact=True)
    group.get_by_label(label, exact=True).check()


BEFORE, AFTER = "Last meal, shed and weight", "Harm, note and photo"


def unfold(page: Page, summary: str) -> None:
    place = page.locator(".fold > summary", has_text=summary)
    if place.locator("..").get_attribute("open") is None:
        place.click()


def add(page: Page, *, grams: str = "", note: str = "") -> None:
    """What may be left out of a call, and is folded away."""
    for fold, label, text in ((BEFORE, "Weight in grams", grams), (AFTER, "Note", note)):
        if text:
            unfold(page, fold)
            page.get_by_label(label).fill(text)


def fill_in(page: Page, tag: str, *, left: int = 9, right: int = 9, sex: str = "Male") -> None:
    """From the sheet to a form ready to be saved; the animal is found by its tag."""
    page.get_by_label("Find by tag").fill(tag)
    page.get_by_role("link", name=f"Log a call on {tag}", exact=True).click()
    expect(page.get_by_role("heading", name=tag, exact=True, level=1)).to_be_visible()
    as_before = page.locator(".carried").count() > 0
    if not as_before:
        pick(page, "Who holds it", "A second person")
        pick(page, "Who had told you its sex before", "Nobody")
    for side, depth in (("Left", left), ("Right", right)):
        one = page.get_by_role("group", name=side, exact=True)
        for digit in str(depth):
            one.get_by_role("button", name=digit, exact=True).click()
        one.get_by_label("Resistance").check()
    pick(page, "Conclusion", sex)
    pick(page, "How sure", "Fairly sure")


def save(page: Page, tag: str) -> None:
    page.get_by_role("button", name="Save the call").click()
    expect(page.locator("#announcement")).to_have_text(f"{tag}: saved here.")
    ten_seconds_later(page)


def states(page: Page) -> list[str]:
    return page.locator(".state").all_text_contents()


@pytest.fixture(scope="module")
def modules(racks: Racks, phone_browser: Browser) -> Any:
    """Calls ``script`` with the module ``m`` and a value ``given``. Both are handed over as one
    text: member by member, thousands of them take a minute."""
    page: Page = phone_browser.new_page(base_url=racks.stack.url)
    page.goto(f"{HERE}icons/icon.svg")

    def run(name: str, script: str, given: Any = None) -> Any:
        path = name if "/" in name else f"pure/{name}"
        body = f"const m = await import('{racks.stack.url}{HERE}{path}.js'); return ({script});"
        told = "const given = JSON.parse(text), said = async () => {" + body + "};"
        answer = page.evaluate(
            f"async (text) => {{ {told} return JSON.stringify(await said()); }}", json.dumps(given)
        )
        return None if answer is None else json.loads(answer)

    yield run
    page.close()
