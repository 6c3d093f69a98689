"""The finding that closes a dispute, and whether somebody else agrees to it."""

from collections.abc import Mapping
from typing import Final, cast
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import is_steward
from scalewitness.calls.models import Call
from scalewitness.disputes import services
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.disputes.queries.assent import (
    WhyKept,
    answering,
    answers_to,
    may_arbitrate,
    other_side,
    why_kept,
    would_set_aside,
)
from scalewitness.disputes.queries.disputes import dispute_of
from scalewitness.domain.errors import NotAllowed, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import FindingAnswered, FindingRecorded
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.sales import is_buyer
from scalewitness.intake.submission import Sealed
from scalewitness.letters.disputes import notify_of_answer, notify_of_finding

KEPT: Final[Mapping[WhyKept, str]] = {
    "their own": "An arbiter does not judge their own check.",
    "no ground": (
        "Only a later blind check by someone known here, without an interest, can set a call aside."
    ),
}


def finding_recorded(fact: Sealed, batch: Batch) -> int:
    """By the animal's keeper or a partner, who are never without an interest."""
    body = cast(FindingRecorded, fact.body)
    dispute = dispute_of(fact.about)
    if dispute is None or not is_steward(batch.actor.keeper, dispute.animal.collection, batch.now):
        raise NotFound()
    if hasattr(dispute, "finding"):
        raise NotNow("This dispute already has its finding.")
    _check_arbiter(dispute, body, batch)
    arbiter = UUID(body.arbiter) if body.arbiter else None
    for index, call in enumerate(body.set_aside):
        _check_own(_call(call, dispute.animal, None, f"/body/set_aside/{index}"), index)
    for index, call in enumerate(body.proposed):
        _call(call, dispute.animal, arbiter, f"/body/proposed/{index}")
    if body.proposed and arbiter is None and _nobody_else(dispute, batch):
        raise NotAllowed(
            "There is no other side to agree: name an arbiter, who must.", pointer="/body/proposed"
        )
    logged = batch.log(fact)
    notify_of_finding(dispute, services.store_finding(logged), batch.letters)
    if body.set_aside:
        batch.touch(dispute.animal_id, fact.id, fact.kind)
    return logged.position


def _nobody_else(dispute: Dispute, batch: Batch) -> bool:
    by = batch.actor.keeper
    return by is None or other_side(dispute, by) is None


def _check_arbiter(dispute: Dispute, body: FindingRecorded, batch: Batch) -> None:
    by = batch.actor.keeper
    if body.arbiter is None or by is None:
        return
    if not may_arbitrate(UUID(body.arbiter), dispute, by, batch.now):
        raise NotAllowed(
            "An arbiter is a keeper who may see the animal and all its calls, has no share in it "
            "or part in a sale of it, and shares no collection with you.",
            pointer="/body/arbiter",
        )


def _call(call_id: str, animal: Animal, arbiter: UUID | None, pointer: str) -> Call:
    """A call that can be set aside, as `why_kept` judges."""
    call = Call.objects.filter(pk=call_id, animal=animal).first()
    if call is None:
        raise OutOfRange("There is no such call on this animal.", pointer=pointer)
    kept = why_kept(call, arbiter)
    if kept == "over":
        raise NotNow("This call no longer counts as it is.")
    if kept is not None:
        raise NotAllowed(KEPT[kept], pointer=pointer)
    return call


def _check_own(call: Call, index: int) -> None:
    """A keeper has an interest, so alone they set aside only what was found with one (our
    judgement)."""
    if not call.interested:
        raise NotAllowed(
            "This check was by someone without an interest. Put it under `proposed`: it is set "
            "aside once the other side or the arbiter agrees.",
            pointer=f"/body/set_aside/{index}",
        )


def finding_answered(fact: Sealed, batch: Batch) -> int:
    """By the other side or the arbiter, once each; a no may still become a yes."""
    body = cast(FindingAnswered, fact.body)
    dispute = dispute_of(fact.about)
    found: Finding | None = getattr(dispute, "finding", None)
    if dispute is None or found is None:
        raise NotFound()
    actor, sale = batch.actor, dispute.sale
    buys = sale is not None and is_buyer(sale, actor)
    side = other_side(dispute, found.by, found.position)
    part = answering(dispute, found, side, actor.keeper, as_buyer=buys, now=batch.now)
    if part is None:
        raise NotFound()
    if str(found.pk) != body.finding:
        raise OutOfRange("This is not the finding of the dispute.", pointer="/body/finding")
    last = answers_to(dispute, found).get(part)
    if last and (last.agrees or not body.agrees):
        raise NotNow("This has been answered. Only a no can still become a yes.")
    wanted = would_set_aside(found) if body.agrees else ()
    if body.set_aside != wanted:
        raise NotNow("What it would set aside has changed: read the finding again.")
    logged = batch.log(fact)
    services.store_answer(logged)
    notify_of_answer(dispute, found, logged, batch.letters)
    if body.set_aside:
        batch.touch(dispute.animal_id, fact.id, fact.kind)
    return logged.position
