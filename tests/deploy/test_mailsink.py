"""The mail sink stores what it accepts, and misbehaves when told to."""

import os
import signal
import smtplib
import subprocess
import sys
from email.message import EmailMessage
from pathlib import Path

import pytest
from tests.waiting import ENOUGH, killed_at_the_end

from stack.mailsink import Faults, MailSink
from stack.ready import free_port

LETTER = EmailMessage()
LETTER["From"] = "record@scalewitness.example"
LETTER["To"] = "mira@keepers.example"
LETTER["Subject"] = "Recheck asked for"
LETTER["Message-ID"] = "<1@scalewitness.example>"
LETTER.set_content("Probed again: 3 scales on the left, 3 on the right.\n")


def send(port: int, timeout: float = ENOUGH) -> None:
    with smtplib.SMTP("127.0.0.1", port, timeout=timeout) as client:
        client.send_message(LETTER, from_addr="bounces@scalewitness.example")


def test_stores_the_message_with_its_envelope(tmp_path: Path) -> None:
    with MailSink(tmp_path / "mail") as sink:
        send(sink.port)
        (stored,) = sink.messages()
    assert stored["Message-ID"] == "<1@scalewitness.example>"
    assert stored["Return-Path"] == "<bounces@scalewitness.example>"
    assert stored["Delivered-To"] == "mira@keepers.example"
    assert stored.get_payload() == LETTER.get_payload()


def test_refuses_as_often_as_told_then_accepts(tmp_path: Path) -> None:
    with MailSink(tmp_path / "mail", faults=Faults(refuse_first=2)) as sink:
        for _ in range(2):
            with pytest.raises(smtplib.SMTPDataError) as caught:
                send(sink.port)
            assert caught.value.smtp_code == 451
        send(sink.port)
        assert len(sink.messages()) == 1


def test_an_answer_too_late_comes_after_the_message_was_stored(tmp_path: Path) -> None:
    with MailSink(tmp_path / "mail", faults=Faults(delay=3)) as sink:
        with pytest.raises((TimeoutError, smtplib.SMTPServerDisconnected)):
            send(sink.port, timeout=0.5)
        assert len(sink.messages()) == 1


def test_hanging_up_after_the_message_stores_nothing(tmp_path: Path) -> None:
    with MailSink(tmp_path / "mail", faults=Faults(drop_after_data=True)) as sink:
        with pytest.raises((ConnectionError, smtplib.SMTPServerDisconnected)):
            send(sink.port)
        assert sink.messages() == []


def test_runs_as_a_command_until_told_to_stop(tmp_path: Path) -> None:
    port = free_port()
    command = [sys.executable, "-m", "stack.mailsink", "--port", str(port)]
    process = subprocess.Popen(
        [*command, "--maildir", str(tmp_path / "mail"), "--refuse-first", "1"],
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "deploy")},
        stdout=subprocess.PIPE,
    )
    with killed_at_the_end(process):
        assert process.stdout is not None
        assert b"Storing mail" in process.stdout.readline()
        with pytest.raises(smtplib.SMTPDataError):
            send(port)
        send(port)
        process.send_signal(signal.SIGTERM)
        assert process.wait(ENOUGH) == 0
    assert len(list((tmp_path / "mail" / "new").iterdir())) == 1
