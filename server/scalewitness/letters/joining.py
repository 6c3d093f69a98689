"""Letters about joining two records of one snake, or parting them."""

from typing import Any
from uuid import UUID

from scalewitness.animals.models import Animal, Joining
from scalewitness.letters.animals import describe, stewards
from scalewitness.letters.owing import Owing
from scalewitness.people.models import Keeper
from scalewitness.people.queries import names_of


def notify_of_proposal(proposal: Joining, owing: Owing) -> None:
    """Whoever keeps the other record is asked."""
    for keeper in stewards(proposal.other, owing):
        if keeper.pk != owing.sender:
            owing.owe(
                "joining_proposed",
                cause=proposal.pk,
                recipient=keeper.pk,
                to=keeper.email,
                context=_context(keeper, proposal.other, proposal, owing),
            )


def notify_of_answer(
    proposal: Joining, cause: UUID, owing: Owing, *, agrees: bool, found: bool
) -> None:
    """Whoever keeps either hears what was answered. ``found``: by an arbiter."""
    readers = {keeper.pk: (keeper, proposal.other) for keeper in stewards(proposal.other, owing)}
    readers |= {keeper.pk: (keeper, proposal.animal) for keeper in stewards(proposal.animal, owing)}
    for keeper, animal in readers.values():
        if keeper.pk != owing.sender:
            context = _context(keeper, animal, proposal, owing)
            owing.owe(
                "joining_answered",
                cause=cause,
                recipient=keeper.pk,
                to=keeper.email,
                context=context | {"agrees": agrees, "found": found},
            )


def _context(to: Keeper, animal: Animal, proposal: Joining, owing: Owing) -> dict[str, Any]:
    """``animal``: the reader's own of the two. Who asks or answers is named: they act openly."""
    return {
        "to_name": to.name,
        "animal": describe(animal),
        "number": (proposal.parts or proposal).code,
        "parts": proposal.parts_id is not None,
        "by": names_of([owing.sender]).get(owing.sender, "") if owing.sender else "",
    }
