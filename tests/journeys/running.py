"""The running web server, and keepers who use it."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
from tests.journeys.test_crashes import collection_with_animal, envelope
from tests.stacks import Given, vouch
from tests.waiting import ENOUGH
from tests.world import PASSWORD, probing

from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor

DEVICES = 4


class Web:
    """Odile Varga, an animal of hers, and some devices."""

    def __init__(self, stack: LocalStack) -> None:
        self.stack = stack
        self.api = f"{stack.url}/api/v1/"
        self.email = "odile@keepers.example"
        self.tokens = self._signed_in(DEVICES)
        self.token = self.tokens[0]
        with self.client() as odile:
            _, self.animal = collection_with_animal(odile)

    def client(self, device: int = 0) -> httpx.Client:
        headers = {"Authorization": f"Bearer {self.tokens[device]}"}
        return httpx.Client(base_url=self.api, headers=headers, timeout=ENOUGH)

    def push(self, device: int = 0) -> httpx.Response:
        """A call is pushed."""
        call = envelope("call_made", self.animal, probing("male", "A1"))
        with self.client(device) as client:
            return client.post("push", json={"items": [call]})

    def takes_pushes(self) -> bool:
        return self.push().status_code == 200

    def read(self, path: str) -> int:
        """Of the API, or by a path from the root: the status."""
        with self.client() as client:
            at = f"{self.stack.url}{path}" if path.startswith("/") else path
            return client.get(at).status_code

    def _signed_in(self, devices: int) -> list[str]:
        with httpx.Client(base_url=self.api, timeout=ENOUGH) as anyone:
            keeper = {"name": "Odile Varga", "email": self.email, "password": PASSWORD}
            anyone.post("keepers", json=keeper).raise_for_status()
            vouch(self.stack, self.email)
            device = {"email": self.email, "password": PASSWORD, "name": "phone"}
            answers = [anyone.post("devices", json=device) for _ in range(devices)]
        return [one.raise_for_status().json()["token"] for one in answers]


@contextmanager
def running_web(folder: Path, database: Given) -> Iterator[Web]:
    """Without a worker; letters stay where they are."""
    with Supervisor(folder, say=lambda name, text: None) as supervisor:
        given = database | {"EMAIL_URL": "smtp://127.0.0.1:1"}
        stack = LocalStack(supervisor, folder, free_port(), given)
        # As in production: the tests' own process has other needs.
        stack.environment["DATABASE_POOL_MAX"] = "64"
        stack.start_database()
        stack.start_queue()
        stack.start_mail()
        stack.start_web()
        yield Web(stack)
