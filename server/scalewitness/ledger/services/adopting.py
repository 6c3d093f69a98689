"""Opening a fenced log again, against what others hold of it.

A copy's own word that it is whole is worth nothing: what was signed after it, it cannot know.
So something from outside must reach as far as all that is known of the log, and be more than
the copy had itself.
"""

from collections.abc import Sequence
from datetime import datetime

import msgspec
from django.db import transaction

from scalewitness.domain.errors import LogContradicted, Malformed, NotShownWhole
from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.notes import read_note
from scalewitness.ledger.models import Checkpoint as Signed
from scalewitness.ledger.models import Fence, Head, SignedHead
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.tree import Tip, root_at, tip
from scalewitness.ledger.services.fencing import shortfall
from scalewitness.ledger.services.memory import (
    Unreliable,
    present_origin,
    remember,
    remember_ahead,
    remembered,
)
from scalewitness.ledger.services.moving import note_server
from scalewitness.ledger.services.outside import Outside, newly_cosigned_by
from scalewitness.ledger.services.signing import require_origin

HOW = (
    "It would prove only that this copy is of this log, not that nothing was signed after it. "
    "What opens the log: its LOG_MEMORY file, if it outlived the database; a checkpoint of more "
    "than {held} entries; or the one of {held} that a witness of this log cosigns anew "
    "(scalewitness witness URL --write FILE, on the machine that watched it last)."
)


class Adopted(msgspec.Struct, frozen=True):
    """What was opened: the log's head, and by what it was shown to be whole."""

    head: Tip
    shown: Tip
    by: str


def adopt(outside: Sequence[Outside], now: datetime) -> Adopted:
    """Lift the fence if this log is what every given checkpoint says, or a later state of it,
    and continues all that it, its fences and the file of `LOG_MEMORY` know to have been
    signed; and if it is shown by more than its own word that it does (`_shown_by`). From then
    on nothing smaller than the newest of them is signed. Where no fence stands nothing is
    lifted.

    Raises:
        LogContradicted: it is smaller than one of them, or other; a fence stands from now on,
            and remembers the checkpoint. The detail says what is lost here.
        NotShownWhole: nothing given shows more than the copy itself.
        Malformed: only the empty log was given, which proves nothing; or a checkpoint of a
            name that this log had before, which bears on nothing after.
    """
    _require_own(outside)
    try:
        with transaction.atomic():
            return _adopted(outside, now)
    except LogContradicted as fault:
        _keep_refusals(outside, fault.detail, now)
        raise


def _require_own(outside: Sequence[Outside]) -> None:
    require_origin()
    for one in outside:
        if one.origin != present_origin():
            raise Malformed(
                f"A checkpoint of {one.origin} says nothing of {present_origin()}: that log was "
                "closed, and what it lost was admitted. Leave it out."
            )


def _adopted(outside: Sequence[Outside], now: datetime) -> Adopted:
    signed = SignedHead.objects.select_for_update().get(pk=1)
    Head.objects.select_for_update().get(pk=1)
    head, held = tip(), _held(signed)
    kept = _memory()
    for tree in (*held, *(one.tree for one in outside), *([kept] if kept else [])):
        _require(tree, head)
    require_whole(head)
    shown, by = _shown_by(outside, kept, max(tree.size for tree in held), head)
    if shown.size > signed.size:
        signed.size, signed.root = shown.size, shown.root
        signed.save()
    _remember(outside)
    lift(outside, head, f"adopted by {by}", now)
    return Adopted(head, shown, by)


def _held(signed: SignedHead) -> list[Tip]:
    """What the database itself knows to have been signed: by it, or shown to it before."""
    trees = [Tip(signed.size, bytes(signed.root))]
    newest = Signed.objects.order_by("-size").first()
    if newest is not None:
        trees.append(Tip(newest.size, bytes(newest.root)))
    return [*trees, *(Tip(one.size, one.root) for one in refused_for(present_origin()))]


def refused_for(origin: str) -> list[Checkpoint]:
    """What opening a fence was tried with, of the log of this name."""
    notes = Fence.objects.exclude(note="").values_list("note", flat=True)
    heads = [read_body(read_note(note).text) for note in notes]
    return [one for one in heads if one.origin == origin]


def _memory() -> Tip | None:
    try:
        return remembered()
    except Unreliable as fault:
        raise LogContradicted(f"{fault}. Put it right or move it away first.") from None


def _shown_by(
    outside: Sequence[Outside], kept: Tip | None, held: int, head: Tip
) -> tuple[Tip, str]:
    """What shows that the copy is whole, and its name. It reaches as far as the copy's own
    checkpoints (``held`` entries), and is not one of them: the file of `LOG_MEMORY`, a larger
    checkpoint, or a witness's new line under the largest."""
    newest = max((one.tree for one in outside), key=lambda tree: tree.size, default=None)
    if newest is not None and newest.size == 0 < head.size and kept is None:
        raise Malformed("A checkpoint of the empty log says nothing about these entries.")
    if newest is not None and newest.size > held:
        return newest, "a checkpoint that this copy did not hold"
    if kept is not None and kept.size >= held:
        return kept, "the file of LOG_MEMORY"
    for one in outside:
        if one.tree.size == held and (witness := newly_cosigned_by(one)):
            return one.tree, f"the witness {witness}"
    raise NotShownWhole(_nothing_shown(newest, held))


def _nothing_shown(newest: Tip | None, held: int) -> str:
    if newest is None:
        given = "No checkpoint was given, and no file of LOG_MEMORY reaches as far as this copy."
    elif newest.size < held:
        given = f"The newest checkpoint given has {newest.size} entries; this copy held {held}."
    else:
        given = f"This copy held the checkpoint of {held} entries itself."
    return f"{given} {HOW.format(held=held)}"


def _require(tree: Tip, head: Tip) -> None:
    fault = shortfall(tree, head)
    if fault is not None:
        raise LogContradicted(fault)


def require_whole(head: Tip) -> None:
    """See that the head's root is what the stored tiles give.

    Raises:
        LogContradicted: it is not.
    """
    try:
        whole = root_at(head.size) == head.root
    except ValueError:
        whole = False
    if not whole:
        raise LogContradicted("The tiles of this copy do not give its root: it is damaged.")


def _remember(outside: Sequence[Outside]) -> None:
    kept = remembered()
    newest = max(outside, key=lambda one: one.tree.size, default=None)
    if newest is not None and (kept is None or kept.size < newest.tree.size):
        remember(newest.note, newest.tree)


def lift(outside: Sequence[Outside], head: Tip, reason: str, now: datetime) -> None:
    """Open the log, if it is fenced, having seen these: on the server that it is on."""
    note_server(now)
    if standing_fence() is not None:
        newest = max(outside, key=lambda one: one.tree.size, default=None)
        Fence.objects.create(
            state=Fence.State.LIFTED,
            reason=reason,
            at=now,
            size=head.size,
            root=head.root,
            note=newest.note if newest else "",
        )


def _keep_refusals(outside: Sequence[Outside], why: str, now: datetime) -> None:
    """Keep what the copy was refused against, so that no older file opens it later, nor, where
    there is a file of `LOG_MEMORY`, another restore of it."""
    with transaction.atomic():
        SignedHead.objects.select_for_update().get(pk=1)
        Head.objects.select_for_update().get(pk=1)
        head = tip()
        known = set(Fence.objects.values_list("note", flat=True))
        for one in outside:
            if one.note not in known and shortfall(one.tree, head) is not None:
                _keep_refusal(one, head, why, now)


def _keep_refusal(one: Outside, head: Tip, why: str, now: datetime) -> None:
    Fence.objects.create(
        state=Fence.State.REFUSED,
        reason=why,
        at=now,
        size=head.size,
        root=head.root,
        note=one.note,
    )
    if one.tree.size > head.size:
        remember_ahead(one.note, one.tree)
