"""What ``check`` finds of letters: out, back, and what DNS says of them."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from mailbox import Maildir
from pathlib import Path
from threading import Thread
from time import sleep

import dns.flags
import dns.message
import dns.rrset
import pytest
from django.core.mail.backends import smtp
from django.test import override_settings
from tests.reports import report

from scalewitness.operating.asked import Asked
from scalewitness.operating.looking import looked
from stack.mailsink import MailSink

Zone = dict[tuple[str, str], str]
ZONE: Zone = {
    ("scalewitness.example.", "TXT"): '"v=spf1 mx -all"',
    ("_dmarc.scalewitness.example.", "TXT"): '"v=DMARC1; p=reject"',
    ("club1._domainkey.scalewitness.example.", "TXT"): '"v=DKIM1; p=MIGfMA0G"',
    ("mail.scalewitness.example.", "A"): "192.0.2.25",
    ("25.2.0.192.in-addr.arpa.", "PTR"): "mail.scalewitness.example.",
}
ARRIVED = """\
Authentication-Results: mx.far.example; spf=pass smtp.mailfrom=scalewitness.example;
 dkim=pass header.d=scalewitness.example; dmarc=pass
DKIM-Signature: v=1; a=rsa-sha256; d=scalewitness.example; s=club1; b=AAAA
Subject: A test

"""


@contextmanager
def name_server(zone: Zone) -> Iterator[str]:
    """One that knows this zone alone."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind(("127.0.0.1", 0))

        def answer() -> None:
            while True:
                try:
                    asked, caller = server.recvfrom(4096)
                except OSError:
                    return
                question = dns.message.from_wire(asked)
                reply = dns.message.make_response(question)
                reply.flags |= dns.flags.RA
                one = question.question[0]
                kind = dns.rdatatype.to_text(one.rdtype)
                if value := zone.get((str(one.name), kind)):
                    reply.answer.append(dns.rrset.from_text(one.name, 60, "IN", kind, value))
                server.sendto(reply.to_wire(), caller)

        Thread(target=answer, daemon=True).start()
        yield f"127.0.0.1:{server.getsockname()[1]}"


def states(zone: Zone, **given: object) -> dict[str, str]:
    with name_server(zone) as place, override_settings(EMAIL_HOST="mail.scalewitness.example"):
        asked = Asked(name_server=place, **given)  # type: ignore[arg-type]
        return {one.name: one.state for one in looked(asked, ["names"])}


def test_a_domain_that_is_set_up_well_is_right(tmp_path: Path) -> None:
    letter = tmp_path / "letter"
    letter.write_text(ARRIVED)
    names = ("spf", "dmarc", "dkim", "ptr", "verdict")
    assert states(ZONE, letter=letter) == dict.fromkeys(names, "right")


def test_what_cannot_be_known_without_a_letter_is_unsure() -> None:
    found = states(ZONE)
    assert (found["dkim"], found["verdict"]) == ("unsure", "unsure")
    assert states(ZONE, dkim_selector="club1")["dkim"] == "right"


@pytest.mark.parametrize(
    ("name", "kind", "value", "wrong"),
    [
        ("scalewitness.example.", "TXT", None, "spf"),
        ("scalewitness.example.", "TXT", '"v=spf1 mx +all"', "spf"),
        ("_dmarc.scalewitness.example.", "TXT", None, "dmarc"),
        ("club1._domainkey.scalewitness.example.", "TXT", '"v=DKIM1; p="', "dkim"),
        ("25.2.0.192.in-addr.arpa.", "PTR", "somebody.far.example.", "ptr"),
    ],
)
def test_what_dns_lacks_is_named(name: str, kind: str, value: str | None, wrong: str) -> None:
    zone = {**ZONE, (name, kind): value or ""}
    found = states(zone, dkim_selector="club1")
    assert [one for one, state in found.items() if state == "wrong"] == [wrong]


def test_a_letter_that_nobody_signed_or_that_did_not_pass_is_wrong(tmp_path: Path) -> None:
    letter = tmp_path / "letter"
    letter.write_text(ARRIVED.replace("DKIM-Signature", "X-Other").replace("spf=pass", "spf=fail"))
    found = states(ZONE, letter=letter)
    assert (found["dkim"], found["verdict"]) == ("wrong", "wrong")


@pytest.fixture
def sink(tmp_path: Path) -> Iterator[MailSink]:
    with (
        MailSink(tmp_path / "mail") as running,
        override_settings(
            EMAIL_BACKEND=f"{smtp.__name__}.EmailBackend",
            EMAIL_HOST="127.0.0.1",
            EMAIL_PORT=running.port,
        ),
    ):
        yield running


def test_a_letter_leaves_and_whether_it_arrived_is_not_claimed(sink: MailSink) -> None:
    found = next(looked(Asked(mail_to="op@club.example"), ["mail"]))
    (sent,) = sink.accepted
    assert (found.state, "took a letter to op@club.example" in found.words) == ("unsure", True)
    assert found.todo.split()[2].encode() in sent


def test_the_report_of_a_letter_to_nobody_is_waited_for(sink: MailSink, tmp_path: Path) -> None:
    box = tmp_path / "returns"
    Maildir(box, create=True)
    nothing = next(looked(Asked(returns=box, wait=0), ["returns"]))
    assert nothing.state == "wrong"

    def answer() -> None:
        """As a mail host answers that knows no such address."""
        while len(sink.accepted) < 2:
            sleep(0.02)
        letter = message_from_bytes(sink.accepted[-1])
        Maildir(box).add(report(str(letter["Message-ID"]), str(letter["To"])))

    Thread(target=answer, daemon=True).start()
    found = next(looked(Asked(returns=box, wait=20), ["returns"]))
    assert (found.state, found.words) == ("right", "a report came: failed 5.1.1")
