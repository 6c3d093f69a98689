"""Signing up, signing in, and having addresses vouched for."""

import os
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import httpx
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.remote import Api, Refusal, Stopped


def sign_up(url: str, name: str, email: str, password: str) -> None:
    """Make the account; nothing is changed where the address already has one."""
    Api(url).post("keepers", {"name": name, "email": email, "password": password})


def confirm(link: str, password: str) -> None:
    """What the keeper does with the letter: open its link and give the account's password.

    Raises:
        Stopped: the address is not confirmed by that.
    """
    with httpx.Client(follow_redirects=True, timeout=60) as browser:
        page = browser.get(link)
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page.text)
        sent = {"csrfmiddlewaretoken": token[1] if token else "", "password": password}
        headers = {"Referer": link}
        answer = browser.post(page.url, data=sent, headers=headers)
    if "is confirmed" not in answer.text:
        raise Stopped(f"the address was not confirmed ({answer.status_code})")


@dataclass(frozen=True)
class Device:
    """A device signed in on, with the API as it sees it, and its key if it signs facts."""

    id: str
    name: str
    api: Api
    key: DeviceKey | None = None

    def with_key(self, enrolment: str, at: str) -> "Device":
        """The device with a key of its own, which it enrols now by a fact of this id."""
        keeper = str(self.api.get("keepers/me")["id"])
        key = DeviceKey(Ed25519PrivateKey.generate(), keeper=keeper, device=self.id)
        self.api.enrol(key, enrolment, at)
        return replace(self, key=key)


def sign_in(url: str, email: str, password: str, device: str) -> Device:
    """Enrol a device of that name.

    Raises:
        Stopped: the password does not fit the account.
    """
    asked = {"email": email, "password": password, "name": device}
    try:
        answer = Api(url).post("devices", asked)
    except Refusal as refusal:
        if refusal.code != "wrong_credentials":
            raise
        raise Stopped(
            f"{email} has an account here with another password than the scenario's. "
            "Start afresh: ./deploy/demo --fresh"
        ) from None
    return Device(answer["id"], device, Api(url, answer["token"]))


def have_verified(apis: Mapping[str, Api]) -> int:
    """See to it that these addresses are verified, each with what its keeper asks through;
    returns how many had to be vouched for.

    Raises:
        Stopped: they have to be, and the operator's command cannot be run from here.
    """
    unverified = [
        email for email, api in apis.items() if not api.get("keepers/me")["email_verified"]
    ]
    if unverified:
        vouch(unverified)
    return len(unverified)


def vouch(emails: Sequence[str]) -> None:
    """Run the operator's command; it needs the application's environment."""
    if not os.environ.get("DATABASE_URL"):
        raise Stopped(
            "Addresses must be verified before anything is recorded. Run, with the server's "
            f"environment:\n  python -m scalewitness vouch {' '.join(emails)}\nand this again."
        )
    operate("vouch", *emails)


def operate(*command: str) -> str:
    """Run ``python -m scalewitness`` and return what it printed.

    Raises:
        Stopped: it failed.
    """
    done = subprocess.run(  # noqa: S603  our own command and addresses from our own data
        [sys.executable, "-m", "scalewitness", *command],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        said = (done.stderr or done.stdout).strip()
        raise Stopped(f"python -m scalewitness {command[0]} failed ({done.returncode}): {said}")
    return done.stdout.strip()
