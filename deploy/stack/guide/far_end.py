"""A mail provider for one trial: it takes letters from whoever signs in, and reports those to
addresses that do not exist (RFC 3464) to the sender on their envelope."""

import logging
import smtplib
import ssl
from dataclasses import dataclass, field
from email import message_from_bytes
from threading import Thread

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from stack.ready import LOOPBACK

SUBMISSION = 587
NOBODY = "nobody"
"""How an address begins that does not exist."""

REPORT = """\
From: Mail provider <postmaster@{host}>
To: {sender}
Subject: Your letter did not arrive
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="part"

--part
Content-Type: text/plain

There is nobody of that name.

--part
Content-Type: message/delivery-status

Reporting-MTA: dns; {host}

Final-Recipient: rfc822; {recipient}
Action: failed
Status: 5.1.1

--part
Content-Type: text/rfc822-headers

Message-ID: {letter}

--part--
"""


@dataclass
class FarEnd:
    """Listens on the loopback; ``taken`` holds recipient and letter of each that came."""

    host: str
    user: str
    password: str
    context: ssl.SSLContext
    returns_to: int = 25
    port: int = SUBMISSION
    taken: list[tuple[str, bytes]] = field(default_factory=list)

    def start(self) -> Controller:
        """Returns once it listens."""
        logging.getLogger("mail.log").setLevel(logging.ERROR)  # else it warns of itself
        controller = Controller(
            self,
            hostname=LOOPBACK,
            port=self.port,
            server_hostname=self.host,
            tls_context=self.context,
            require_starttls=True,
            authenticator=self._knows,
            auth_required=True,
        )
        controller.start()
        return controller

    def _knows(
        self, server: SMTP, session: Session, envelope: Envelope, mechanism: str, given: object
    ) -> AuthResult:
        mine = LoginPassword(self.user.encode(), self.password.encode())
        return AuthResult(success=given == mine, handled=False)

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802  the library's name
        content = envelope.original_content or b""
        for recipient in envelope.rcpt_tos:
            self.taken.append((recipient, content))
            if recipient.startswith(NOBODY) and envelope.mail_from:
                # Afterwards and by itself, as such reports come.
                about = (envelope.mail_from, recipient, content)
                Thread(target=self._report, args=about, daemon=True).start()
        return "250 2.0.0 Taken"

    def _report(self, sender: str, recipient: str, content: bytes) -> None:
        with smtplib.SMTP(LOOPBACK, self.returns_to, timeout=30) as client:
            client.sendmail("", [sender], self._in_words(sender, recipient, content))

    def _in_words(self, sender: str, recipient: str, content: bytes) -> bytes:
        text = REPORT.format(
            host=self.host,
            sender=sender,
            recipient=recipient,
            letter=message_from_bytes(content)["Message-ID"],
        )
        return text.replace("\n", "\r\n").encode()
