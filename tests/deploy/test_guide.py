"""What types the operator's guide, but for the bare Debian: ./deploy/try_guide has that."""

import smtplib
import ssl
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from scalewitness.domain.delivery_reports import read_reports
from stack.authority import make_authority
from stack.guide import __main__ as trying
from stack.guide.blocks import IN_CONTAINERS, blocks_of, filled_in
from stack.guide.far_end import FarEnd
from stack.guide.prying import Prying
from stack.local import ROOT
from stack.mailsink import MailSink
from stack.ready import free_port

GUIDE = ROOT / "deploy" / "INSTALL.md"


def test_only_blocks_that_say_so_are_typed_and_in_their_order(tmp_path: Path) -> None:
    guide = tmp_path / "guide.md"
    guide.write_text(
        "<!-- typed: first -->\n```sh\na\nb\n```\n```sh\nnot this\n```\n"
        "<!-- typed: then -->\n```sh\nc\n```\n"
        "<!-- in containers: first -->\n```sh\nd\n```\n"
    )
    assert blocks_of(guide) == {"first": "a\nb\n", "then": "c\n"}
    assert blocks_of(guide, IN_CONTAINERS) == {"first": "d\n"}


def test_a_value_takes_the_place_of_the_example_and_of_nothing_else() -> None:
    block = "NAME=record.example   # the name\nMAIL='a b'\necho NAME=x\n"
    assert filled_in(block, {"NAME": "mine", "MAIL": "c"}) == (
        "NAME=mine   # the name\nMAIL=c\necho NAME=x\n"
    )
    with pytest.raises(KeyError):
        filled_in(block, {"ZONE": "UTC"})


def test_every_value_that_is_filled_in_stands_in_the_guide_first() -> None:
    blocks = blocks_of(GUIDE)
    assert next(iter(blocks)) == "values"
    filled = filled_in(blocks["values"], trying.VALUES)
    for example in (trying.NAME, trying.PROVIDER, trying.RELAY_PASSWORD, trying.PASSWORD):
        assert example in filled


def test_each_block_is_one_that_a_shell_can_read() -> None:
    for name, block in [*blocks_of(GUIDE).items(), *blocks_of(GUIDE, IN_CONTAINERS).items()]:
        shell = subprocess.run(["bash", "-n"], input=block, text=True, check=False)
        assert shell.returncode == 0, name


def test_the_far_end_takes_letters_from_whom_it_knows_and_reports_the_lost(tmp_path: Path) -> None:
    trusted, context = make_authority(tmp_path, "localhost")
    with MailSink(tmp_path / "returns") as returns:
        far = FarEnd("localhost", "record", "secret", context, returns.port, free_port())
        listening = far.start()
        try:
            for recipient in ("somebody@far.example", "nobody@far.example"):
                send(far, trusted, recipient)
            wait_for(lambda: bool(returns.messages()))
        finally:
            listening.stop(no_assert=True)
        (report,) = [read_reports(one.as_bytes()) for one in returns.messages()]
    assert [(one.message_id, one.recipient, one.action) for one in report] == [
        ("<1@record.example>", "nobody@far.example", "failed")
    ]
    assert len(far.taken) == 2


def send(far: FarEnd, trusted: Path, recipient: str) -> None:
    letter = "Message-ID: <1@record.example>\r\nSubject: A letter\r\n\r\nDear somebody\r\n"
    with smtplib.SMTP("localhost", far.port) as client:
        client.ehlo()
        with pytest.raises(smtplib.SMTPException):
            client.sendmail("returns@record.example", [recipient], letter)
        client.starttls(context=ssl.create_default_context(cafile=trusted))
        client.login("record", "secret")
        client.sendmail("returns@record.example", [recipient], letter)


def test_a_secret_is_seen_on_a_command_line_and_not_on_the_way_in() -> None:
    prying = Prying(["told-in-words", "told-in-secret"])
    prying.start()
    program = [sys.executable, "-c", "import sys; sys.stdin.read()", "told-in-words"]
    with subprocess.Popen(program, stdin=subprocess.PIPE, text=True) as shown:
        wait_for(lambda: bool(prying.seen))
        shown.communicate("told-in-secret")
    prying.stop()
    assert prying.seen == {"told-in-words"}


def wait_for(holds: Callable[[], bool]) -> None:
    deadline = time.monotonic() + 20
    while not holds():
        assert time.monotonic() < deadline
        time.sleep(0.05)
