"""Sending checkpoints to outside witnesses (C2SP tlog-witness).

What each answered last is kept in a row: when to try again, and what is wrong. A witness that
refuses is asked less and less often, never in a storm; nothing else waits for any of them.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import httpx
import structlog
from django.conf import settings

from scalewitness.domain.errors import Refused
from scalewitness.domain.translog.notes import BadNote, read_note
from scalewitness.domain.translog.witnessing import (
    AddCheckpoint,
    Target,
    read_conflict,
    read_cosignatures,
    read_target,
)
from scalewitness.ledger.models import Checkpoint, WitnessPush
from scalewitness.ledger.queries.tree import growth_proof, latest_checkpoint
from scalewitness.ledger.services.cosigning import take
from scalewitness.ledger.services.signing import log_key

log = structlog.get_logger()

LEASE = timedelta(minutes=2)
"""How long a worker may take over one witness before another may."""
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
SECONDS = 10.0
MOST_BYTES = 64 * 1024


@dataclass(frozen=True, slots=True)
class Answer:
    """Of a witness; ``status`` None where there was none, with the reason as ``body``."""

    status: int | None
    body: bytes


@dataclass(frozen=True, slots=True)
class Failure:
    """What is wrong, in short; ``size`` is what the witness has, if it said so."""

    why: str
    size: int | None = None


Post = Callable[[str, bytes], Answer]


def post(url: str, body: bytes) -> Answer:
    """One request over the network; redirects are not followed, long answers cut off."""
    deadline, data = time.monotonic() + 2 * SECONDS, b""
    try:
        with httpx.stream(
            "POST", url, content=body, timeout=SECONDS, trust_env=False, follow_redirects=False
        ) as answer:
            for part in answer.iter_bytes():
                data += part
                if len(data) > MOST_BYTES or time.monotonic() > deadline:
                    return Answer(None, b"too long an answer")
    except httpx.HTTPError as problem:
        return Answer(None, f"{type(problem).__name__}: {problem}".encode())
    return Answer(answer.status_code, data)


def push_due(now: datetime, send: Post = post) -> int:
    """Send the latest checkpoint to each witness that is due and has not cosigned it; how
    many were tried."""
    checkpoint = latest_checkpoint(str(log_key()))
    if checkpoint is None:
        return 0
    targets = list(map(read_target, settings.LOG_WITNESSES))
    return sum(_push(target, checkpoint, now, send) for target in targets)


def _push(target: Target, checkpoint: Checkpoint, now: datetime, send: Post) -> bool:
    key = {"key": str(target.key), "url": target.url}
    WitnessPush.objects.get_or_create(**key, defaults={"next_try_at": now})
    due = WitnessPush.objects.filter(**key, next_try_at__lte=now)
    if not due.exclude(size=checkpoint.size, cosigned_at__isnull=False).update(
        next_try_at=now + LEASE
    ):
        return False
    state = WitnessPush.objects.get(**key)
    _note(state, _pushed(state, target, checkpoint, now, send), now)
    return True


def _pushed(
    state: WitnessPush, target: Target, checkpoint: Checkpoint, now: datetime, send: Post
) -> Failure | None:
    """Ask, and once more where the witness has another tree of ours than we thought."""
    for last in (False, True):
        answer = _ask(state, target, checkpoint, send)
        if answer.status == 200:
            return _kept(state, target, checkpoint, answer.body, now)
        has = read_conflict(answer.body) if answer.status == 409 else None
        if last or has is None or has > checkpoint.size:
            return _failure(answer, has, checkpoint)
        state.size = has
    raise AssertionError("the second answer is the last")


def _ask(state: WitnessPush, target: Target, checkpoint: Checkpoint, send: Post) -> Answer:
    proof = tuple(growth_proof(state.size, checkpoint.size))
    request = AddCheckpoint(state.size, proof, read_note(checkpoint.note))
    answer = send(target.address, str(request).encode())
    state.status = answer.status
    return answer


def _failure(answer: Answer, has: int | None, checkpoint: Checkpoint) -> Failure:
    if has is not None and has > checkpoint.size:
        return Failure(f"It has seen {has} entries, more than this log has: a fork?", has)
    if answer.status is None:
        return Failure(f"No answer: {_short(answer.body)}")
    return Failure(f"{answer.status}: {_short(answer.body)}", has)


def _short(body: bytes) -> str:
    text = body[:200].decode(errors="replace")
    return "".join(one if one.isprintable() else " " for one in text).strip()


def _kept(
    state: WitnessPush, target: Target, checkpoint: Checkpoint, body: bytes, now: datetime
) -> Failure | None:
    """Keep the cosignature that came back; a witness may send lines of other keys too."""
    mine = (target.key.name, target.key.key_id)
    try:
        lines = [one for one in read_cosignatures(body) if (one.name, one.key_id) == mine]
        if not lines:
            return Failure("It answered without its cosignature.")
        take(None, target.key, lines[0], checkpoint.size, bytes(checkpoint.root), now)
    except (BadNote, Refused) as wrong:
        return Failure(f"Its cosignature is not one: {wrong}")
    state.size, state.cosigned_at = checkpoint.size, now
    return None


def _note(state: WitnessPush, failure: Failure | None, now: datetime) -> None:
    state.tried_at = state.next_try_at = now
    state.error = failure.why[:300] if failure else ""
    state.failures = state.failures + 1 if failure else 0
    if failure:
        state.next_try_at = now + min(FIRST_WAIT * 2 ** min(state.failures - 1, 10), LONGEST_WAIT)
        log.warning(
            "witness_refused", url=state.url, status=state.status, why=state.error, has=failure.size
        )
    state.save()
