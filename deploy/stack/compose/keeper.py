"""A keeper who uses the record through its proxy."""

import json
import socket
import ssl
from http.client import HTTPException, HTTPSConnection
from typing import Any

from stack.facts import fact, fresh_id
from stack.ready import LOOPBACK


class Keeper:
    """Believes the proxy by the certificate ``trusted``; ``host`` is its name, at our loopback."""

    def __init__(self, host: str, trusted: str) -> None:
        self.host = host
        self.context = ssl.create_default_context(cadata=trusted)
        self.token = ""
        self.animal = ""

    def sign_in(self, email: str, password: str) -> None:
        body = {"email": email, "password": password, "name": "a trial's device"}
        self.token = self._asked("/api/v1/devices", body)["token"]

    def register_animal(self) -> None:
        collection, self.animal = fresh_id(), fresh_id()
        self._asked("/api/v1/collections", {"id": collection, "name": "Mine"})
        body = {"collection": collection, "species": "python_regius"}
        item = fact("animal_registered", self.animal, body)
        (outcome,) = self._asked("/api/v1/push", {"items": [item]})["items"]
        if outcome["status"] != "accepted":
            raise OSError(f"the push was answered {outcome}")

    def ask_for_account(self, email: str, password: str) -> None:
        body = {"name": "Somebody", "email": email, "password": password}
        self._asked("/api/v1/keepers", body)

    def page(self, path: str) -> str:
        status, content = self._ask("GET", path)
        return content if status == 200 else ""

    def is_ready(self) -> bool:
        try:
            return bool(self.page("/health/ready"))
        except (OSError, HTTPException):
            return False

    def certificate(self) -> bytes:
        """That the proxy shows."""
        with self._line() as line:
            return line.getpeercert(binary_form=True) or b""

    def _asked(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        status, content = self._ask("POST", path, body)
        if status >= 300:
            raise OSError(f"{path} was answered {status}: {content[:500]}")
        return dict(json.loads(content or "{}"))

    def _ask(self, method: str, path: str, body: object = None) -> tuple[int, str]:
        connection = HTTPSConnection(self.host, timeout=60)
        connection.sock = self._line()
        headers = {"Content-Type": "application/json"}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        try:
            connection.request(method, path, json.dumps(body) if body else None, headers)
            answer = connection.getresponse()
            return answer.status, answer.read().decode(errors="replace")
        finally:
            connection.close()

    def _line(self) -> ssl.SSLSocket:
        """The name leads nowhere from here."""
        line = socket.create_connection((LOOPBACK, 443), timeout=60)
        return self.context.wrap_socket(line, server_hostname=self.host)
