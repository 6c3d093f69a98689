"""A keeper at the pages of a running server, without a browser: forms as they are served."""

import re
import time

import httpx
from tests.pages.browser import Form, _Reader
from tests.second_factors import code_of
from tests.world import PASSWORD


class Pages:
    """One keeper's session."""

    def __init__(self, url: str, email: str) -> None:
        self.email, self.client = email, httpx.Client(base_url=url, timeout=30)
        self.secret, self.recovery = "", list[str]()

    def form(self, path: str, ending: str = "") -> Form:
        answer = self.client.get(path, follow_redirects=True)
        answer.raise_for_status()
        at = answer.url.path
        forms = _Reader(answer.text, at).forms
        (found,) = [one for one in forms if one.action.split("?")[0].endswith(ending or at)]
        return found

    def fill(self, path: str, ending: str = "", **typed: str) -> httpx.Response:
        form = self.form(path, ending)
        data = {name: values[0] for name, values in form.values.items()} | typed
        return self.client.post(form.action, data=data)

    def sign_in(self) -> httpx.Response:
        return self.fill("/accounts/login/", "/login/", login=self.email, password=PASSWORD)

    def again(self, path: str) -> None:
        """Whatever is asked for before ``path``, given once more."""
        asked = self.client.get(path)
        if asked.status_code == 302 and "reauthenticate" in asked.headers["Location"]:
            typed = {"code": self.code()} if self.secret else {"password": PASSWORD}
            assert self.fill(asked.headers["Location"], "/reauthenticate/", **typed).is_redirect

    def code(self) -> str:
        """A fresh one: that of the next half minute, once this one's is used."""
        step = max(int(time.time()) // 30, getattr(self, "_used", 0) + 1)
        assert step <= int(time.time()) // 30 + 1, "more codes than the drift allows"
        self._used = step
        return code_of(self.secret, step * 30)

    def set_up_an_app(self) -> None:
        path = "/accounts/2fa/app/set-up/"
        self.again(path)
        page = self.client.get(path)
        (self.secret,) = re.findall(r'class="secret">([A-Z2-7]{32})<', page.text)
        (form,) = [one for one in _Reader(page.text, path).forms if one.action == path]
        # The code before this one, so that two fresh ones are left within the drift.
        self._used = int(time.time()) // 30 - 1
        data = {name: values[0] for name, values in form.values.items()}
        shown = self.client.post(path, data=data | {"code": code_of(self.secret, time.time() - 30)})
        assert shown.is_redirect, shown.text
        codes = self.client.get(shown.headers["Location"]).text
        self.recovery = re.findall(r"<code>(\d{8})</code>", codes)

    def remove_the_app(self) -> None:
        self.again("/accounts/2fa/app/removal/")
        assert self.fill("/accounts/2fa/app/removal/").is_redirect

    def let_in(self, code: str, answer: str = "yes") -> httpx.Response:
        self.again("/devices/new")
        looked = self.fill("/devices/new", code=code)
        assert looked.status_code == 200, looked.text
        (form,) = [f for f in _Reader(looked.text, "/devices/new").forms if "answer" in f.names
                   or f.action == "/devices/new"]  # fmt: skip
        data = {name: values[0] for name, values in form.values.items()} | {"answer": answer}
        return self.client.post("/devices/new", data=data)

    def __enter__(self) -> "Pages":
        return self

    def __exit__(self, *trouble: object) -> None:
        self.client.close()
