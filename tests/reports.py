"""Delivery reports as mail hosts write them (RFC 3464), in words of our own."""

from collections.abc import Mapping


def report(
    message_id: str,
    address: str,
    *,
    recipient: str = "",
    action: str = "failed",
    status: str = "5.1.1",
    type: str = "message/delivery-status",
    returned: str = "message/rfc822",
    more: Mapping[str, str] | None = None,
) -> bytes:
    """About one letter to one address."""
    fields = {
        "Final-Recipient": recipient or f"rfc822; {address}",
        "Action": action,
        "Status": status,
        "Diagnostic-Code": "smtp; 550 5.1.1 no mailbox\n of that name",
        **(more or {}),
    }
    block = "\n".join(f"{name}: {value}" for name, value in fields.items())
    letter = f"Message-ID: {message_id}\nSubject: A letter\n"
    body = letter + ("\nDear somebody\n" if returned.startswith("message/") else "")
    text = f"""\
From: Mail host <postmaster@buyers.example>
To: record@record.example
Subject: Your letter did not arrive
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="part"

--part
Content-Type: text/plain

It did not arrive.

--part
Content-Type: {type}

Reporting-MTA: dns; mx.buyers.example
Arrival-Date: Thu, 26 Nov 2026 10:00:00 +0000

{block}

--part
Content-Type: {returned}

{body}
--part--
"""
    return text.replace("\n", "\r\n").encode()
