"""Firefox and WebKit by the protocols they speak themselves: WebDriver BiDi and WebDriver (W3C).

Debian has both browsers, `firefox-esr` and `webkit2gtk-driver`, and no driver for the first; a few
commands are all that is asked of either.
"""

import asyncio
import contextlib
import json
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import aiohttp
import httpx
import pytest
from tests.waiting import ENOUGH, killed_at_the_end

from stack.ready import free_port

WEBKIT = Path("/usr/lib/x86_64-linux-gnu/webkit2gtk-4.1/MiniBrowser")


class Driven(Protocol):
    """A browser with one tab."""

    name: str

    def open(self, address: str) -> None:
        """Goes there, and waits until it is loaded."""

    def run(self, script: str, *given: Any) -> Any:
        """What the body of an async function gives, awaited; plain values in and out."""

    def size(self, width: int, height: int) -> None: ...


def eventually(driven: Driven, script: str, *given: Any) -> Any:
    """What it gives once that is true."""
    limit = time.monotonic() + ENOUGH
    while not (found := driven.run(script, *given)):
        if time.monotonic() > limit:
            text = driven.run("return document.body.innerText")
            pytest.fail(f"{driven.name}: in vain for {script} {given}; it shows:\n{text}")
        time.sleep(0.1)
    return found


WRAPPED = """const [text, done] = arguments;
const give = (one) => done(JSON.stringify(one));
(async (...given) => { %s })(...JSON.parse(text))
  .then((found) => give({found: found ?? null}), (fault) => give({fault: String(fault)}))"""


class Firefox:
    name = "Firefox"

    def __init__(self, loop: asyncio.AbstractEventLoop, socket: Any) -> None:
        self._loop, self._socket, self._number = loop, socket, 0
        self.ask("session.new", capabilities={})
        self._tab = self.ask("browsingContext.getTree")["contexts"][0]["context"]

    def ask(self, method: str, **params: Any) -> Any:
        self._number += 1
        sent = {"id": self._number, "method": method, "params": params}
        return self._loop.run_until_complete(self._ask(sent))

    async def _ask(self, sent: dict[str, Any]) -> Any:
        await self._socket.send_str(json.dumps(sent))
        while True:
            answer = json.loads(await self._socket.receive_str(timeout=ENOUGH))
            if answer.get("id") == sent["id"]:
                assert answer["type"] == "success", answer
                return answer["result"]

    def open(self, address: str) -> None:
        self.ask("browsingContext.navigate", context=self._tab, url=address, wait="complete")

    def run(self, script: str, *given: Any) -> Any:
        found = self.ask(
            "script.callFunction",
            functionDeclaration=f"async (text) => JSON.stringify(await (async (...given) => "
            f"{{ {script} }})(...JSON.parse(text)) ?? null)",
            awaitPromise=True, target={"context": self._tab},
            arguments=[{"type": "string", "value": json.dumps(given)}],
        )  # fmt: skip
        assert found["type"] == "success", found
        return json.loads(found["result"]["value"])

    def size(self, width: int, height: int) -> None:
        self.ask(
            "browsingContext.setViewport",
            context=self._tab, viewport={"width": width, "height": height},
        )  # fmt: skip


class WebKit:
    name = "WebKit"

    def __init__(self, client: httpx.Client) -> None:
        options = {"binary": str(WEBKIT), "args": ["--automation"]}
        made = client.post(
            "session", json={"capabilities": {"alwaysMatch": {"webkitgtk:browserOptions": options}}}
        ).json()["value"]
        assert "sessionId" in made, made
        self._client, self._session = client, made["sessionId"]
        self.ask("timeouts", script=ENOUGH * 1000)

    def ask(self, what: str, **params: Any) -> Any:
        answer = self._client.post(f"session/{self._session}/{what}", json=params).json()["value"]
        assert not (isinstance(answer, dict) and "error" in answer), answer
        return answer

    def open(self, address: str) -> None:
        self.ask("url", url=address)

    def run(self, script: str, *given: Any) -> Any:
        found = self.ask(
            "execute/async",
            script=WRAPPED % script,
            args=[json.dumps(given)],
        )  # fmt: skip
        read = json.loads(found)
        assert "fault" not in read, read
        return read["found"]

    def size(self, width: int, height: int) -> None:
        self.ask("window/rect", width=width, height=height)

    def end(self) -> None:
        self._client.delete(f"session/{self._session}")


@contextlib.contextmanager
def firefox() -> Iterator[Firefox]:
    """Skips where it is not installed."""
    path = shutil.which("firefox-esr") or shutil.which("firefox")
    if path is None:
        pytest.skip("Firefox is not installed: apt-get install firefox-esr")
    port = free_port()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        process = subprocess.Popen(
            [path, "--headless", "--no-remote", "--profile", folder, "--remote-debugging-port",
             str(port)],
            env=os.environ | {"HOME": folder, "MOZ_REMOTE_ALLOW_SYSTEM_ACCESS": "0"},
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        loop = asyncio.new_event_loop()
        with killed_at_the_end(process):
            opened, socket = loop.run_until_complete(_connected(port))
            try:
                yield Firefox(loop, socket)
            finally:
                loop.run_until_complete(socket.close())
                loop.run_until_complete(opened.close())
                loop.run_until_complete(asyncio.sleep(0.25))  # its connections close then
                loop.close()
                process.terminate()
                process.wait(timeout=ENOUGH)


async def _connected(port: int) -> tuple[aiohttp.ClientSession, Any]:
    opened = aiohttp.ClientSession()
    limit = time.monotonic() + ENOUGH
    while True:
        try:
            return opened, await opened.ws_connect(f"ws://127.0.0.1:{port}/session", max_msg_size=0)
        except aiohttp.ClientError:
            assert time.monotonic() < limit, "Firefox does not answer"
            await asyncio.sleep(0.2)


@contextlib.contextmanager
def webkit() -> Iterator[WebKit]:
    """On a screen of its own. Skips where something of it is not installed."""
    needed = [shutil.which("WebKitWebDriver"), shutil.which("Xvfb"), WEBKIT.exists()]
    if not all(needed):
        pytest.skip("WebKit is not installed: apt-get install webkit2gtk-driver xvfb")
    port, display = free_port(), f":{os.getpid() % 30_000 + 100}"
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        env = os.environ | {
            "HOME": folder, "DISPLAY": display, "GDK_BACKEND": "x11", "XDG_RUNTIME_DIR": folder,
            "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1", "NO_AT_BRIDGE": "1",
            "WEBKIT_DISABLE_COMPOSITING_MODE": "1", "LIBGL_ALWAYS_SOFTWARE": "1",
        }  # fmt: skip
        quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        screen = subprocess.Popen(["Xvfb", display, "-screen", "0", "1024x1200x24"], **quiet)
        with killed_at_the_end(screen):
            process = subprocess.Popen(["WebKitWebDriver", f"--port={port}"], env=env, **quiet)
            with (
                killed_at_the_end(process),
                httpx.Client(base_url=f"http://127.0.0.1:{port}/", timeout=ENOUGH) as client,
            ):
                _answers(client)
                made = WebKit(client)
                try:
                    yield made
                finally:
                    with contextlib.suppress(httpx.HTTPError):
                        made.end()


def _answers(client: httpx.Client) -> None:
    limit = time.monotonic() + ENOUGH
    while True:
        try:
            client.get("status")
        except httpx.HTTPError:
            assert time.monotonic() < limit, "WebKit's driver does not answer"
            time.sleep(0.1)
        else:
            return
