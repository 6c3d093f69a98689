"""From what a letter says in values to the message that is sent."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final, NamedTuple
from uuid import UUID

import structlog
from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.core.mail.backends.base import BaseEmailBackend
from django.template.loader import render_to_string
from django.utils import timezone

from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.habits import Habits, written_for
from scalewitness.domain.translog.carried import carried
from scalewitness.domain.translog.notes import read_note
from scalewitness.domain.translog.receipts import Receipt
from scalewitness.ledger.queries.entries import entry_of, texts_by_fact
from scalewitness.ledger.services.memory import present_origin
from scalewitness.ledger.services.receipting import receipt_of
from scalewitness.ledger.services.signing import checkpoint_over
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import COVER, inside, replaced_by, wrote_before
from scalewitness.mail.services.links import (
    code_of,
    confirmation_path,
    link_token,
    new_password_path,
    sign_out_token,
)
from scalewitness.mail.services.replacing import REPLACED

log = structlog.get_logger()

WITH_RECEIPT = frozenset({"disclosure", "claim_disclosure", "sale_confirmed"})
"""Kinds that carry their fact's receipt as a file; others only lead to it."""
WITH_STATE = frozenset({"offer"})
"""Kinds that say what the log was when they left; a receipt has that in it."""
INSIDE: Final = (
    "disclosure",
    "sale_held",
    "sale_held_seller",
    "dispute_opened",
    "standing_notice",
    "pairing_affected",
)
"""Kinds that go inside another letter, in the order they stand there: what its reader paid for
comes first."""


class LogState(NamedTuple):
    """A signed tree: how many entries it has, its root in base64, and the address at which a
    browser compares it with what it is shown."""

    size: int
    root: str
    url: str


def attached_receipt(letter: Letter, now: datetime) -> Receipt | None:
    """The receipt that goes with a letter. A log that cannot vouch for it holds up no letter:
    it goes without, and the link in it leads to the receipt later."""
    if letter.kind not in WITH_RECEIPT or "receipt" not in letter.context:
        return None
    entry = entry_of(UUID(letter.context["receipt"]))
    try:
        return receipt_of(entry, now) if entry else None
    except (LogContradicted, Fenced, OSError):
        log.warning("letter_without_receipt", id=str(letter.pk))
        return None


def log_beside(letter: Letter, now: datetime) -> LogState | None:
    """The state of the log that goes with a letter, over what it tells of: what its reader was
    shown stays in their mailbox. A log that cannot vouch for it holds up no letter."""
    if letter.kind not in WITH_STATE or "receipt" not in letter.context:
        return None
    entry = entry_of(UUID(letter.context["receipt"]))
    try:
        note = read_note(checkpoint_over(entry.position, now).note) if entry else None
    except (LogContradicted, Fenced, OSError):
        log.warning("letter_without_state", id=str(letter.pk))
        return None
    if note is None or (link := carried(note)) is None:
        return None
    _, size, root = note.text.split("\n")[:3]
    return LogState(int(size), root, f"{settings.PUBLIC_URL}/log{link}")


def compose(
    letter: Letter,
    connection: BaseEmailBackend | None = None,
    receipt: Receipt | None = None,
    habits: Habits | None = None,
    state: LogState | None = None,
) -> EmailMultiAlternatives:
    """The message: three templates a kind (subject, text, HTML), fixed headers, and the
    receipt as a file where there is one. ``habits``: to write times, days and weights by; None: the
    reader's. ``state``: of the log, in words and as a link."""
    habits = habits or _habits(letter)
    with timezone.override(habits.zone), written_for(habits):
        return _compose(letter, connection, receipt, state)


def _compose(
    letter: Letter,
    connection: BaseEmailBackend | None,
    receipt: Receipt | None,
    state: LogState | None,
) -> EmailMultiAlternatives:
    beside = {"attached": receipt is not None, "log": state}
    context = _context(letter) | beside | _what_is_inside(letter)
    name = f"letters/{letter.kind}"
    message = EmailMultiAlternatives(
        subject=" ".join(render_to_string(f"{name}.subject.txt", context).split()),
        body=render_to_string(f"{name}.txt", context),
        # The envelope's sender, to whom reports of a letter's way go (RFC 5321, RFC 3464).
        from_email=settings.MAIL_RETURN_PATH,
        to=[letter.to],
        connection=connection,
        headers={
            "From": settings.DEFAULT_FROM_EMAIL,
            "Message-ID": letter.message_id,
            "Auto-Submitted": "auto-generated",
            "X-Scalewitness-Letter": letter.kind,  # so that a reader can sort them
            "X-Auto-Response-Suppress": "All",
        },
    )
    message.attach_alternative(render_to_string(f"{name}.html", context), "text/html")
    if receipt is not None:
        # Not as text: mail may change a text's line endings, and every byte counts.
        data = str(receipt).encode()
        message.attach(receipt.file_name, data, "application/octet-stream")
    return message


def _context(letter: Letter) -> dict[str, Any]:
    """What it says as it leaves: ``earlier``, what it tells of in place of letters that had not
    left; ``wrote_before``; and ``since``, what is true by now if that is something else.
    ``log_origin``: whose its positions are."""
    found: dict[str, Any] = letter.context | _addresses(letter) | _words(letter)
    found["log_origin"] = present_origin()
    if "plans" in letter.context:
        found |= {"plans": _losses(letter)}
    if letter.kind in REPLACED:
        earlier = [{"owed_at": "", **one.context} for one in replaced_by(letter)]
        found |= {"nth": letter.nth, "wrote_before": wrote_before(letter), "since": _since(letter)}
        found["earlier"] = [*letter.context.get("earlier", ()), *earlier]
    return found


_since: Callable[[Letter], Mapping[str, Any] | None] = lambda letter: None  # noqa: E731


def tell_since(since: Callable[[Letter], Mapping[str, Any] | None]) -> None:
    """How what is true by now is found; whoever knows animals says so."""
    global _since
    _since = since


_losses: Callable[[Letter], list[dict[str, Any]]] = lambda letter: []  # noqa: E731


def tell_losses(losses: Callable[[Letter], list[dict[str, Any]]]) -> None:
    """How it is found what seasons lose; whoever knows seasons says so."""
    global _losses
    _losses = losses


_habits: Callable[[Letter], Habits] = lambda letter: Habits()  # noqa: E731


def tell_habits(habits: Callable[[Letter], Habits]) -> None:
    """How it is found what a reader is used to; whoever knows people says so."""
    global _habits
    _habits = habits


def _what_is_inside(letter: Letter) -> dict[str, Any]:
    """Of a letter that brings others: ``texts`` and ``htmls``, one part each, and ``count``, of
    how many animals they tell."""
    if letter.kind != COVER:
        return {}
    letters = sorted(inside(letter), key=lambda one: INSIDE.index(one.kind))
    parts = [(f"letters/_inside/{one.kind}", _context(one)) for one in letters]
    return {
        "texts": [render_to_string(f"{name}.txt", context).strip() for name, context in parts],
        "htmls": [render_to_string(f"{name}.html", context) for name, context in parts],
        "count": len({(context["animal"] or {}).get("id") for _, context in parts}),
    }


def _words(letter: Letter) -> dict[str, Any]:
    """What somebody wrote with the fact that the letter tells of, as long as it is kept."""
    if "words_of" not in letter.context:
        return {}
    fact = UUID(letter.context["words_of"])
    return {"words": texts_by_fact([fact]).get(fact, {})}


def _addresses(letter: Letter) -> dict[str, str]:
    """Where a letter leads; a buyer's receipts are under their link."""
    found = {"public_url": settings.PUBLIC_URL}
    home = settings.PUBLIC_URL
    if "link" in letter.context:
        token = link_token(UUID(letter.context["link"]))
        found["link_url"] = home = f"{settings.PUBLIC_URL}/offers/{token}"
    if "reports_link" in letter.context:
        token = link_token(UUID(letter.context["reports_link"]))
        found["reports_url"] = f"{settings.PUBLIC_URL}/reports/by-link/{token}"
    if "code_id" in letter.context:
        found["digits"] = code_of(UUID(letter.context["code_id"]))
    if "confirm" in letter.context:
        path = confirmation_path(letter.context["confirm"])
        found["confirm_url"] = f"{settings.PUBLIC_URL}{path}"
    if "reset" in letter.context:
        path = new_password_path(UUID(letter.context["reset"]))
        found["reset_url"] = f"{settings.PUBLIC_URL}{path}"
    if "sign_out" in letter.context:
        token = sign_out_token(UUID(letter.context["sign_out"]))
        found["sign_out_url"] = f"{settings.PUBLIC_URL}/sign-out/{token}"
    if "receipt" in letter.context:
        found["receipt_url"] = f"{home}/receipts/{letter.context['receipt']}"
    return found
