"""A keeper's browser that signs what it sends, as `pages/static/signing` does."""

import json
import os
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.http import HttpResponse
from tests.pages.browser import Browser, Form, Page
from tests.world import new_id

from scalewitness.people.models import Device, Keeper
from scalewitness_cli.devicekey import DeviceKey

Fact = dict[str, Any]
HERE = "/devices/this-browser"


class SigningBrowser(Browser):
    """``key``: of its device, enrolled once :meth:`enrol` was called."""

    def __init__(self, keeper: Keeper) -> None:
        super().__init__(keeper)
        key = Ed25519PrivateKey.generate()
        self.key = DeviceKey(key, keeper=str(keeper.pk), device=str(new_id()))

    @property
    def device(self) -> Device:
        return Device.objects.get(pk=self.key.device)

    def enrol(self, name: str = "desk") -> "SigningBrowser":
        self.again()
        form = self.open(HERE).form()
        form.values |= {"device": [self.key.device]}
        assert self.send_signed(form, key=self.key.public, name=name).goes_to == HERE
        return self

    def ask(self, form: Form, **typed: Any) -> HttpResponse:
        """What there is to sign."""
        header = {"Scalewitness-To-Sign": self.key.device}
        found: HttpResponse = self.client.post(form.action, form.values | typed, headers=header)
        return found

    def to_sign(self, form: Form, **typed: Any) -> list[Fact]:
        answer = self.ask(form, **typed)
        assert answer.status_code == 200, answer.status_code
        facts: list[Fact] = json.loads(answer.content)["facts"]
        return facts

    def signed(self, *facts: Fact) -> str:
        """The field that goes with the form."""
        found = {}
        for fact in facts:
            made = self.key.signed(
                {**fact}, {name: salted(text) for name, text in fact["texts"].items()}
            )
            salts = {name: one["salt"] for name, one in made["texts"].items()}
            found[fact["id"]] = {"sig": made["sig"], "salts": salts}
        return json.dumps({"device": self.key.device, "facts": found})

    def send_signed(self, form: Form, **typed: str | list[str]) -> Page:
        return self.send_with(form, self.signed(*self.to_sign(form, **typed)), **typed)

    def send_with(self, form: Form, signed: str, **typed: Any) -> Page:
        form.names["signed"] = "hidden"
        return self.send(form, signed=signed, **typed)


def salted(text: str) -> dict[str, str]:
    return {"text": text, "salt": os.urandom(32).hex()}
