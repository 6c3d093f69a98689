"""Reports of a letter's way. Fields and their grammar: RFC 3464, sections 2.2 and 2.3; the
parts of the message: RFC 3462; addresses beyond ASCII: RFC 6533."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.reports import report

from scalewitness.domain.delivery_reports import LIMIT, NotAReport, read_reports

LETTER = "<0123456789abcdef@record.example>"


def test_a_mailbox_that_does_not_exist() -> None:
    (told,) = read_reports(report(LETTER, "bela@buyers.example"))
    assert told.message_id == LETTER
    assert told.recipient == "bela@buyers.example"
    assert (told.action, told.status) == ("failed", "5.1.1")
    assert told.diagnostic == "550 5.1.1 no mailbox of that name"


@pytest.mark.parametrize(
    "changes",
    [
        {"recipient": "rfc822;bela@buyers.example"},
        {"recipient": "RFC822; <Bela@Buyers.Example>"},
        {"recipient": "utf-8; bela@buyers.example", "type": "message/global-delivery-status"},
        {"status": "5.1.1 (permanent failure)"},
        {"returned": "text/rfc822-headers"},
        {"action": "Failed"},
    ],
)
def test_the_same_in_other_spellings(changes: dict[str, str]) -> None:
    (told,) = read_reports(report(LETTER, "bela@buyers.example", **changes))
    assert (told.message_id, told.recipient) == (LETTER, "bela@buyers.example")
    assert (told.action, told.status) == ("failed", "5.1.1")


def test_a_forwarded_address_is_known_by_the_one_we_wrote_to() -> None:
    """RFC 3464, 2.3.1: the final address may be another one."""
    more = {"Original-Recipient": "rfc822;bela@buyers.example"}
    (told,) = read_reports(report(LETTER, "somewhere@else.example", more=more))
    assert told.recipient == "bela@buyers.example"


def test_a_delay_is_no_failure() -> None:
    (told,) = read_reports(report(LETTER, "bela@buyers.example", action="delayed", status="4.4.1"))
    assert (told.action, told.status) == ("delayed", "4.4.1")


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"Subject: Out of office\r\n\r\nBack on Monday.\r\n",
        report(LETTER, "bela@buyers.example").replace(b"multipart/report", b"multipart/mixed"),
        report(LETTER, "bela@buyers.example").replace(b"Message-ID", b"X-Something"),
        report(LETTER, "bela@buyers.example").replace(b"Action: failed", b"Action: shrugged"),
        b"x" * (LIMIT + 1),
    ],
)
def test_what_is_no_report(data: bytes) -> None:
    with pytest.raises(NotAReport):
        read_reports(data)


@given(
    st.integers(0, len(report(LETTER, "a@b.example"))),
    st.binary(max_size=12),
    st.integers(0, 40),
)
def test_damage_is_refused_and_never_more(at: int, junk: bytes, cut: int) -> None:
    data = report(LETTER, "a@b.example")
    try:
        found = read_reports(data[:at] + junk + data[at + cut :])
    except NotAReport:
        return
    assert all("\n" not in one.diagnostic and one.recipient for one in found)
