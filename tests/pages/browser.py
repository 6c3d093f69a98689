"""A reader of pages without a browser: follows links, fills in forms as they were served."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from django.http import HttpResponse
from django.test import Client
from tests.world import PASSWORD

from scalewitness.people.models import Keeper

Values = dict[str, list[str]]
CODE = {"code", "pre"}
BARE_ID = re.compile(r"\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b", re.IGNORECASE)


@dataclass
class Form:
    """A form as served: where it goes and what it would send untouched."""

    action: str
    method: str
    values: Values = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)
    """Of each field its tag, or the type of an input."""
    says: str = ""
    """The kinds of facts that it may state."""


class _Reader(HTMLParser):
    def __init__(self, html: str, path: str) -> None:
        super().__init__()
        self.path, self.forms, self.words, self.links = path, [], [], []
        self.prose: list[str] = []  # the words that are not set as code
        self._code = 0
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._inside = False  # what stands on every page, such as its search, is not its own
        self._form: Form | None = None
        self._select: str | None = None
        self._area: str | None = None
        self.feed(html)

    forms: list[Form]
    words: list[str]
    links: list[str]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append((tag, given))
        self._code += tag in CODE
        if tag == "a" and given.get("href"):
            self.links.append(str(given["href"]))
        self._inside |= tag == "main"
        if tag == "form" and self._inside:
            action = given.get("action") or self.path
            says = given.get("data-says") or ""
            self._form = Form(action, given.get("method") or "get", says=says)
            self.forms.append(self._form)
        if self._form is not None:
            self._control(tag, given, self._form)

    def _control(self, tag: str, given: Mapping[str, str | None], form: Form) -> None:
        name = given.get("name")
        if tag in {"input", "select", "textarea"} and name:
            form.names[name] = str(given.get("type") or "text") if tag == "input" else tag
        if tag == "input" and name:
            chosen = given.get("type") not in {"radio", "checkbox"} or "checked" in given
            if chosen and given.get("value") is not None:
                form.values.setdefault(name, []).append(str(given["value"]))
        if tag == "select":
            self._select = name
        if tag == "option" and self._select and "selected" in given:
            form.values.setdefault(self._select, []).append(str(given.get("value") or ""))
        if tag == "textarea":
            self._area = name

    def handle_endtag(self, tag: str) -> None:
        self._code -= tag in CODE
        self._inside &= tag != "main"
        if tag == "form":
            self._form = None
        if tag == "select":
            self._select = None
        if tag == "textarea":
            self._area = None

    def handle_data(self, data: str) -> None:
        self.words.append(data)
        if not self._code:
            self.prose.append(data)
        if self._area and self._form is not None and data.strip():
            self._form.values.setdefault(self._area, []).append(data.strip("\n"))


class Page:
    """A response as a reader meets it."""

    def __init__(self, response: HttpResponse, path: str) -> None:
        self.response = response
        self.path = path
        self.status = response.status_code
        text = response.get("Content-Type", "text/").startswith("text/")
        self.html = response.content.decode(errors="replace") if text else ""
        read = _Reader(self.html, path)
        self.forms, self.links, self.tags = read.forms, read.links, read.tags
        self.text = " ".join(" ".join(read.words).split())
        self.prose = " ".join(" ".join(read.prose).split())

    @property
    def goes_to(self) -> str:
        """Where a redirect leads."""
        assert self.status == 302, f"{self.status}: {self.text[:600]}"
        return str(self.response["Location"])

    def form(self, ending: str = "") -> Form:
        """The form whose address ends so; the page's own when nothing is said."""
        wanted = ending or self.path
        found = [form for form in self.forms if form.action.endswith(wanted)]
        assert len(found) == 1, (wanted, [form.action for form in self.forms])
        return found[0]


class Browser:
    """One person's browser."""

    def __init__(self, keeper: Keeper | None = None, **options: Any) -> None:
        self.client = Client(**options)
        if keeper is not None:
            self.client.force_login(keeper)

    def open(self, path: str) -> Page:
        page = Page(self.client.get(path), path)
        check_markup(page)
        return page

    def send(self, form: Form, **typed: str | list[str]) -> Page:
        """Fill in and send a form; what is not typed goes as served."""
        unknown = typed.keys() - form.names
        assert not unknown, f"no such fields: {unknown}"
        data: dict[str, Any] = {**form.values, **typed}
        page = Page(self.client.post(form.action, data), form.action)
        check_markup(page)
        return page

    def again(self, **typed: str) -> "Browser":
        """Gives the password, or a ``code``, once more, as before anything grave."""
        asked = self.open("/accounts/email/").goes_to
        form = self.open(asked).form(asked.split("?")[0])
        assert self.send(form, **(typed or {"password": PASSWORD})).status == 302
        return self

    def fill(self, path: str, ending: str = "", **typed: str | list[str]) -> Page:
        """Open a page and send the form on it."""
        page = self.open(path)
        assert page.status == 200, f"{page.status}: {page.text[:600]}"
        return self.send(page.form(ending), **typed)


def check_markup(page: Page) -> None:
    """What must hold on every page: nothing the content policy would block, one heading of
    the first rank, no element id twice, a label for everything one can fill in, and no raw id
    among its words but on a receipt, and where it is set as code for a machine."""
    if not page.html.lstrip().startswith("<!doctype html>"):
        return
    for tag, given in page.tags:
        inline = {name for name in given if name == "style" or name.startswith("on")}
        assert not inline, f"{page.path}: {tag} with {inline}"
        assert tag != "style", page.path
        assert tag != "script" or is_own_module(given), page.path
    assert [tag for tag, _ in page.tags].count("h1") == 1, page.path
    if "/receipts/" not in page.path:
        assert not BARE_ID.search(page.prose), (page.path, BARE_ID.search(page.prose))
    ids = [given["id"] for _, given in page.tags if "id" in given]
    assert len(ids) == len(set(ids)), f"{page.path}: {sorted(ids)}"
    within = {one[1:] for one in page.links if one.startswith("#")}
    assert within <= set(ids), f"{page.path}: {within - set(ids)}"
    labelled = {given["for"] for tag, given in page.tags if tag == "label" and "for" in given}
    for tag, given in page.tags:
        if tag in {"select", "textarea"} or (tag == "input" and given.get("type") not in SILENT):
            assert given.get("id") in labelled, f"{page.path}: {given}"


def is_own_module(given: Mapping[str, str | None]) -> bool:
    """A script that the content policy lets run, and that waits until the page is read."""
    return given.get("type") == "module" and str(given.get("src")).startswith("/static/")


SILENT = {"hidden", "checkbox", "radio"}
"""Ticks and choices stand inside their labels."""
