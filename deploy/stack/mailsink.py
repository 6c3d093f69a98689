"""A mail host that delivers nothing: every message it accepts becomes a file in a Maildir.

``python -m stack.mailsink --port N --maildir DIR``, or `MailSink` inside a test. On demand it
misbehaves the ways real mail hosts do.
"""

import argparse
import asyncio
import mailbox
import os
import signal
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, repeat
from pathlib import Path
from typing import Literal, Self

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from stack.ready import LOOPBACK, free_port

STORED = "250 2.0.0 Stored"
REFUSED = "451 4.3.0 Refused for now, as asked; try again"

Turn = Literal["store", "refuse", "drop", "store_and_drop", "store_and_wait", "store_late", "wait"]
"""What becomes of one message: stored, refused (451), or the line goes dead, before it was
stored or after. Or the answer takes longer than anyone waits for it: ``store_and_wait`` has stored
it by then, ``store_late`` stores it only after that, ``wait`` never."""


@dataclass(frozen=True)
class Faults:
    """How to misbehave: refuse that many messages first (451), answer so many seconds late
    after storing, or hang up once the message has been sent, storing nothing. ``turns``: what
    becomes of each message in turn; those after the last are stored.
    ``client_timeout``: seconds for which senders wait."""

    refuse_first: int = 0
    delay: float = 0.0
    drop_after_data: bool = False
    turns: Iterator[Turn] = field(default_factory=lambda: iter(()))
    client_timeout: float = 0.0


class MailSink:
    """The same server in a thread of this process. Use as a context manager, or start and stop.

    `maildir` is made if missing.
    """

    def __init__(
        self,
        maildir: Path,
        port: int | None = None,
        faults: Faults | None = None,
        host: str = LOOPBACK,
    ):
        self.maildir = maildir
        self.port = port or free_port()
        handler = _Handler(maildir, faults or Faults())
        self.accepted = handler.accepted
        """Every message as it was sent, in the order in which they were stored."""
        self.late = handler.late
        """Messages that are still to be stored."""
        self._controller = Controller(handler, hostname=host, port=self.port)
        self._listens = False

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *failure: object) -> None:
        self.stop()

    @property
    def url(self) -> str:
        """The smtp:// address to send to."""
        return f"smtp://{LOOPBACK}:{self.port}"

    def start(self) -> None:
        """Listen; returns once connections are accepted."""
        self._controller.start()
        self._listens = True

    def stop(self) -> None:
        """Close the port and wait for the thread; once more changes nothing."""
        if self._listens:
            self._controller.stop(no_assert=True)
        self._listens = False

    def messages(self) -> list[mailbox.MaildirMessage]:
        """Every message accepted so far, oldest first."""
        box = mailbox.Maildir(self.maildir, create=False)
        return sorted(box, key=lambda message: message.get_date())


class _Handler:
    """What aiosmtpd calls when a message has arrived."""

    def __init__(self, maildir: Path, faults: Faults) -> None:
        maildir.parent.mkdir(parents=True, exist_ok=True)
        self._box = mailbox.Maildir(maildir)
        self._new = maildir / "new"
        self._faults = faults
        self._turns = chain(repeat("refuse", faults.refuse_first), faults.turns)
        self.accepted: list[bytes] = []
        self.late: list[Envelope] = []

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802  the library's name
        turn = "drop" if self._faults.drop_after_data else next(self._turns, "store")
        if turn in {"store", "store_and_drop", "store_and_wait"}:
            self._store(envelope)
        if turn in {"store_and_wait", "store_late", "wait"}:
            await self._wait(envelope, stored_late=turn == "store_late")
        if turn in {"drop", "store_and_drop"}:
            if isinstance(server.transport, asyncio.WriteTransport):
                server.transport.abort()
            return REFUSED
        if turn == "refuse":
            return REFUSED
        await asyncio.sleep(self._faults.delay)
        return STORED

    async def _wait(self, envelope: Envelope, *, stored_late: bool) -> None:
        """Until whoever sent it has given up."""
        if stored_late:
            self.late.append(envelope)
            loop = asyncio.get_running_loop()
            loop.call_later(2 * self._faults.client_timeout, self._store_late, envelope)
        await asyncio.sleep(4 * self._faults.client_timeout)

    def _store_late(self, envelope: Envelope) -> None:
        self._store(envelope)
        self.late.remove(envelope)

    def _store(self, envelope: Envelope) -> None:
        content = envelope.original_content or b""
        self.accepted.append(content)
        head = [f"Return-Path: <{envelope.mail_from or ''}>"]
        head += [f"Delivered-To: {recipient}" for recipient in envelope.rcpt_tos]
        # Maildir.add writes and syncs the file; its name in the folder needs a sync of its own.
        self._box.add("\r\n".join(head).encode() + b"\r\n" + content)
        folder = os.open(self._new, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m stack.mailsink", description=__doc__)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--maildir", type=Path, required=True)
    parser.add_argument("--refuse-first", type=int, default=0, metavar="N")
    parser.add_argument("--delay", type=float, default=0.0, metavar="SECONDS")
    parser.add_argument("--drop-after-data", action="store_true")
    given = parser.parse_args(arguments)
    faults = Faults(given.refuse_first, given.delay, given.drop_after_data)
    signals = {signal.SIGINT, signal.SIGTERM}
    # Blocked before the server's thread exists, so that only sigwait below sees them.
    signal.pthread_sigmask(signal.SIG_BLOCK, signals)
    with MailSink(given.maildir, given.port, faults) as sink:
        print(f"Storing mail for {sink.url} in {given.maildir}", flush=True)
        signal.sigwait(signals)


if __name__ == "__main__":
    main()
