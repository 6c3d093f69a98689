"""Signing checkpoints: never two that contradict each other."""

from datetime import datetime

from django.conf import settings
from django.db import transaction

from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.translog.checkpoints import Checkpoint as Head
from scalewitness.domain.translog.keys import Signer, read_signer
from scalewitness.domain.translog.notes import signed
from scalewitness.ledger.models import Checkpoint, SignedHead
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.mapping import latest_map
from scalewitness.ledger.queries.origins import origin
from scalewitness.ledger.queries.tree import Tip, continues, latest_checkpoint, root_at, tip
from scalewitness.ledger.services.fencing import watch
from scalewitness.ledger.services.mapping import state_map
from scalewitness.ledger.services.memory import remember


def log_signer() -> Signer:
    """The log's key; its name is the log's origin. ``settings`` read it at the start."""
    return read_signer(settings.LOG_SIGNING_KEY)


def current_checkpoint(now: datetime) -> Checkpoint:
    """What the log last vouched for under its present key; signed now where it never was.

    Raises:
        LogContradicted, Fenced: as :func:`sign_checkpoint`, where something is to be signed.
    """
    require_origin()
    return latest_checkpoint(str(log_signer().verifier)) or sign_checkpoint(now)


def checkpoint_over(position: int, now: datetime) -> Checkpoint:
    """A checkpoint whose tree holds the entry at ``position``, signed now if need be.

    Raises:
        LogContradicted, Fenced: as :func:`sign_checkpoint`.
    """
    current = current_checkpoint(now)
    return current if current.size > position else sign_checkpoint(now)


def sign_checkpoint(now: datetime) -> Checkpoint:
    """The latest checkpoint, signed now if the log has grown since or the key is new. The last
    entry of its tree states the map of subjects over all the others.

    The largest tree ever signed is compared and swapped under its row lock; the signature
    leaves only after commit.

    Raises:
        LogContradicted: the log is smaller than what was signed, or not its continuation.
        Fenced: the log is fenced, and this head was not signed before.
        OSError: the file that remembers the latest checkpoint cannot be used.
        Busy: another process keeps that file.
    """
    if watch(now) is None:
        require_origin()
        _require_growth(_last_signed(SignedHead.objects.get(pk=1)), tip())
        state_map(now)
    with transaction.atomic():
        last = SignedHead.objects.select_for_update().get(pk=1)
        require_origin()  # under the lock: the name may have been closed meanwhile
        head = _to_sign()  # read after the lock was got: READ COMMITTED sees the latest commit
        signer = log_signer()
        key = str(signer.verifier)
        kept = Checkpoint.objects.filter(size=head.size, key=key).first()
        _require_growth(_last_signed(last), head)
        if kept is not None:
            return kept
        if standing_fence() is not None:
            raise Fenced()
        _swap(last, head)
        note = signed(Head(signer.name, head.size, head.root).body(), signer)
        remember(str(note), head)
        return Checkpoint.objects.create(
            size=head.size, root=head.root, key=key, note=str(note), signed_at=now
        )


def _to_sign() -> Tip:
    """The tree that ends where the map was last stated; while the log is fenced, all of it, as
    nothing is signed then but what was signed before."""
    head = tip()
    if head.size == 0 or standing_fence() is not None:
        return head
    size = latest_map().position + 1
    return head if size == head.size else Tip(size, root_at(size))


def _last_signed(row: SignedHead) -> Tip:
    return Tip(row.size, bytes(row.root))


def require_origin() -> None:
    """See that this process holds a key of the log's present name. Under one that was closed
    nothing is signed ever again; under a new one nothing before the loss is admitted.

    Raises:
        LogContradicted: it does not.
    """
    name, present = log_signer().name, origin()
    if present is not None and name != present:
        raise LogContradicted(
            f"LOG_SIGNING_KEY is of {name}, and this log is {present}. Under another name than its "
            "own a log signs nothing."
        )


def _require_growth(last: Tip, head: Tip) -> None:
    if not continues(last, head):
        raise LogContradicted()


def _swap(last: SignedHead, head: Tip) -> None:
    swapped = SignedHead.objects.filter(pk=1, size=last.size, root=last.root).update(
        size=head.size, root=head.root
    )
    if swapped != 1:
        raise LogContradicted()
