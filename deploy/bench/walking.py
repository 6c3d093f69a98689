"""Walking through a running demo: as a keeper, and as a buyer by the link of their letter."""

import re
from collections.abc import Iterable, Iterator
from email import message_from_bytes, policy
from pathlib import Path
from urllib.parse import urljoin, urlsplit

from playwright.sync_api import Page

EMAIL, PASSWORD = "maren@oskarby.example", "tub-by-tub-1"
FEW = 2
"""Pages of one kind that are opened: the first may be of an animal about which little is known."""
ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f-]{22}|(?<=/offers/)[^/]+")
FILES = re.compile(
    r"\.(pdf|zip|json|txt|csv|ods|xlsx|webp|jpg|png)$|/file$|/health|/metrics|/logout"
)


BROWSER = ["--no-sandbox", "--disable-dev-shm-usage"]
"""What Chromium needs where it is run by root, in little shared memory."""


def kind(path: str) -> str:
    """Pages that differ by an id alone are of one kind."""
    return ID.sub("*", path)


def sign_in(page: Page, url: str) -> None:
    page.goto(f"{url}/accounts/login/")
    page.get_by_label("Email").fill(EMAIL)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="Account").first.wait_for()


def links_of(page: Page, url: str) -> list[str]:
    """Where the page leads on this site, in order, without what is asked behind ``?``."""
    found = page.locator("a[href]").evaluate_all("all => all.map(one => one.getAttribute('href'))")
    whole = (urlsplit(urljoin(page.url, one)) for one in found)
    here = (one.path for one in whole if f"{one.scheme}://{one.netloc}" == url)
    return [
        one for one in here if not FILES.search(one) and not one.startswith(("/api", "/static"))
    ]


def all_pages(page: Page, url: str, starts: Iterable[str], most: int = 400) -> Iterator[str]:
    """Every kind of page that can be reached, each opened when its turn has come."""
    waiting, seen, opened = [*starts], set[str](), dict[str, int]()
    while waiting and len(seen) < most:
        path = waiting.pop(0)
        if path in seen or opened.get(kind(path), 0) >= FEW:
            continue
        seen.add(path)
        opened[kind(path)] = opened.get(kind(path), 0) + 1
        answer = page.goto(f"{url}{path}", wait_until="load")
        if answer is None or "text/html" not in answer.headers.get("content-type", ""):
            continue
        waiting += links_of(page, url)
        yield path


def offer_paths(maildir: Path) -> list[str]:
    """The links of buyers, newest letter first."""
    letters = sorted((maildir / "new").iterdir(), key=lambda one: one.stat().st_mtime, reverse=True)
    found: dict[str, None] = {}
    for one in letters:
        message = message_from_bytes(one.read_bytes(), policy=policy.default)
        body = message.get_body(("plain",))
        text = body.get_content() if body else ""
        found |= dict.fromkeys(re.findall(r"https?://[^/\s]+(/offers/[^/\s]+)", text))
    return list(found)
