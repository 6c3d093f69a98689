"""Late calls under seal: each is still there as it came, and what was admitted is what came."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from uuid import UUID

from scalewitness.calls.models import HeldCall
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.leaf import leaf_bytes, unstamped_bytes
from scalewitness.domain.translog.sealing import KIND, is_sealed
from scalewitness.fsck.reading import LoggedFact
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_of, leaf_of

STORE = "calls_heldcall"


def check_seals(stated: Iterable[LoggedFact]) -> Iterator[Difference]:
    """Each late call against the entry that commits to it; that its salt has a row, the check of
    rows tells."""
    sealed = {UUID(one.body.held): one for one in stated if one.kind == KIND}
    if not sealed:
        return
    rows = HeldCall.objects.select_related("seal").filter(pk__in=sealed)
    there, logged = {one.pk: one for one in rows}, entries_of(sealed)
    for id, fact in sealed.items():
        if id not in there:
            yield Difference(STORE, fact.position, "the late call that was sealed is gone")
            continue
        held = there[id]
        yield from _beside(fact, held)
        if hasattr(held, "seal"):
            yield from _unlike(fact, held, bytes(held.seal.salt), logged.get(id))


def _beside(fact: LoggedFact, held: HeldCall) -> Iterator[Difference]:
    """What the entry says in plain of how it came."""
    shown = (held.animal_id, rfc3339(held.received_at), tuple(held.submission["flags"]))
    if shown != (fact.about, rfc3339(fact.at), fact.flags):
        what = "the late call is of another animal or time than its entry, or marked otherwise"
        yield Difference(STORE, fact.position, what)


def _unlike(
    fact: LoggedFact, held: HeldCall, salt: bytes, admitted: Entry | None
) -> Iterator[Difference]:
    sealed = fact.body.sealed
    if not is_sealed(_as_kept(held), salt, sealed):
        yield Difference(STORE, fact.position, "the late call is not the one that was sealed")
    if admitted is not None and not is_sealed(_as_admitted(admitted), salt, sealed):
        what = f"the call admitted is not the one that was sealed at {fact.position}"
        yield Difference("ledger_entry", admitted.position, what)


def _as_kept(held: HeldCall) -> bytes:
    kept = held.submission
    return leaf_bytes(
        id=held.pk,
        kind=held.kind,
        about=held.animal_id,
        at=rfc3339(datetime.fromisoformat(kept["at"])),
        by=held.by,
        device=held.device,
        body=kept["body"],
        sig=kept.get("sig"),
    )


def _as_admitted(entry: Entry) -> bytes:
    try:
        return unstamped_bytes(leaf_of(entry))
    except ValueError:
        return b""  # the check of the log names it


def unsealed() -> Iterator[Difference]:
    """Late calls in no entry that came since such calls have had one."""
    first = Entry.objects.filter(kind=KIND).order_by("position").first()
    if first is None:
        return
    later = HeldCall.objects.filter(kind="call_made", seal=None, received_at__gt=first.received_at)
    for id in later.values_list("pk", flat=True):
        yield Difference(STORE, None, f"the late call {id} is in no entry")
