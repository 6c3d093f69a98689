"""Letters out, and what comes back of them."""

import mailbox
import sys
from collections.abc import Iterator
from contextlib import suppress
from email.utils import make_msgid, parseaddr
from pathlib import Path
from secrets import token_hex
from time import monotonic, sleep
from typing import Final

from django.conf import settings
from django.core.mail import EmailMessage

from scalewitness.domain.delivery_reports import DeliveryReport, NotAReport, read_reports
from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result

EVERY: Final = 1.0
"""Seconds between two looks into a mailbox."""


def mail(asked: Asked) -> Iterator[Result]:
    """A letter with a code, to an address that the operator reads."""
    if not asked.mail_to:
        yield Result("mail", "unsure", "whether letters leave and arrive", "give --mail-to ADDRESS")
        return
    code = token_hex(3).upper()
    if fault := _send(asked.mail_to, code):
        yield Result("mail", "wrong", f"the mail host took no letter: {fault}", "see EMAIL_URL")
        return
    typed = _typed(asked.mail_to)
    if typed is None:
        words = f"the mail host took a letter to {asked.mail_to}; whether it arrived is not known"
        yield Result("mail", "unsure", words, f"look for {code} there, in the spam folder too")
    elif typed.strip().upper() == code:
        yield Result("mail", "right", f"a letter to {asked.mail_to} arrived")
    else:
        words = f"that is not the code that went to {asked.mail_to}"
        yield Result("mail", "wrong", words, "see the spam folder and the mail host's log")


def returns(asked: Asked) -> Iterator[Result]:
    """A letter to nobody, whose report is to come to ``MAIL_RETURN_PATH``."""
    if asked.returns is None:
        words = f"whether reports arrive at {settings.MAIL_RETURN_PATH}"
        yield Result("returns", "unsure", words, "give --returns MAILDIR of that address")
        return
    nobody = f"nobody-{token_hex(6)}@{_domain()}"
    if fault := _send(nobody, "nothing"):
        words = f"the mail host itself refused {nobody}, which no report follows: {fault}"
        yield Result("returns", "unsure", words, "refusals at once are noted without a report")
        return
    until = monotonic() + asked.wait
    while (report := _report_of(nobody, asked.returns)) is None and monotonic() < until:
        sleep(EVERY)
    if report is None:
        words = f"no report of {nobody} came to {asked.returns} in {asked.wait:.0f} s"
        yield Result("returns", "wrong", words, "see where mail to MAIL_RETURN_PATH goes")
    else:
        yield Result("returns", "right", f"a report came: {report.action} {report.status}")


def _domain() -> str:
    return parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]


def _send(to: str, code: str) -> str:
    """What went wrong; empty where the mail host took it."""
    message = EmailMessage(
        subject=f"A test of this service: {code}",
        body=f"The operator of {settings.PUBLIC_URL} tests whether letters arrive. Code: {code}\n",
        from_email=settings.MAIL_RETURN_PATH,
        to=[to],
        headers={
            "From": settings.DEFAULT_FROM_EMAIL,
            "Message-ID": make_msgid(
                domain=parseaddr(settings.DEFAULT_FROM_EMAIL)[1].partition("@")[2]
            ),
            "Auto-Submitted": "auto-generated",
        },
    )
    try:
        message.send()
    except OSError as fault:  # SMTPException is one
        return " ".join(str(fault).split())
    return ""


def _typed(to: str) -> str | None:
    if not sys.stdin.isatty():
        return None
    sys.stderr.write(f"The code in the letter to {to} (empty: it has not arrived): ")
    sys.stderr.flush()
    return sys.stdin.readline()


def _report_of(nobody: str, folder: Path) -> DeliveryReport | None:
    """The report of a letter to that address, also if somebody has taken it meanwhile."""
    box = mailbox.Maildir(folder, create=False)
    for key in box.keys():  # noqa: SIM118  a mailbox iterates over messages
        with suppress(NotAReport, KeyError):
            for report in read_reports(box.get_bytes(key)):
                if report.recipient == nobody:
                    return report
    return None
