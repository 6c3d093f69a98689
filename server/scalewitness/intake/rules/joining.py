"""Two records that are of one snake, joined when the keepers of both agree; and parted likewise.

From then on each of the two rests on the calls of both. What the other says is for nobody who may
not see it: a proposal names the number alone, and which record it means is kept beside the log.
"""

from collections.abc import Set
from typing import cast
from uuid import UUID

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Joining
from scalewitness.animals.queries import is_steward
from scalewitness.animals.queries.grants import LATE_LIMIT
from scalewitness.animals.queries.joining import in_force, proposal_of, standing_between
from scalewitness.calls.queries.bearing import other_bearer
from scalewitness.calls.queries.visibility import kept_from, reader_of, sights_of
from scalewitness.disputes.models import Finding
from scalewitness.disputes.queries.assent import answers_to
from scalewitness.domain.errors import NotAllowed, NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import JoiningAnswered, JoiningProposed, PartingProposed
from scalewitness.domain.identifiers import plain_code
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.animals import stewarded
from scalewitness.intake.submission import Sealed
from scalewitness.letters.joining import notify_of_answer, notify_of_proposal
from scalewitness.people.models import Grant
from scalewitness.sales.queries import parties_to_sales
from scalewitness.standings.queries.footing import footing_of


def joining_proposed(fact: Sealed, batch: Batch) -> int:
    """To the record that bears its number too: the one whose number it is, or else the next."""
    animal, body = stewarded(fact.about, batch), cast(JoiningProposed, fact.body)
    code = plain_code("transponder", body.code)
    other = other_bearer(animal.pk, code)
    if other is None:
        raise OutOfRange("No other record bears this number of its.", pointer="/body/code")
    if standing_between(animal.pk, other).exists():
        raise NotNow("This has been proposed already, by you or by the other keeper.")
    asked = Joining.objects.filter(other=other, answers=None).values_list("by", flat=True)
    if batch.actor.keeper in asked:
        raise NotNow("You asked the keeper of that record already; wait for their answer.")
    logged = batch.log(fact)
    notify_of_proposal(services.store_joining(logged, other), batch.letters)
    return logged.position


def parting_proposed(fact: Sealed, batch: Batch) -> int:
    """By the keeper of either."""
    animal, body = stewarded(fact.about, batch), cast(PartingProposed, fact.body)
    joining = proposal_of(UUID(body.joining))
    if joining is None or animal.pk not in {joining.animal_id, joining.other_id}:
        raise OutOfRange("There is no such joining of this animal.", pointer="/body/joining")
    if not in_force(joining):
        raise NotNow("The two records are not joined.")
    if Joining.objects.filter(parts=joining).exists():
        raise NotNow("This has been proposed already, by you or by the other keeper.")
    logged = batch.log(fact)
    other = joining.other_id if animal.pk == joining.animal_id else joining.animal_id
    notify_of_proposal(services.store_joining(logged, other), batch.letters)
    return logged.position


def joining_answered(fact: Sealed, batch: Batch) -> int:
    """By the keeper of the other, or by an arbiter who confirmed a finding about one of the two. A
    no may still become a yes."""
    body = cast(JoiningAnswered, fact.body)
    proposal = proposal_of(UUID(body.proposal))
    if proposal is None or proposal.other_id != fact.about:
        raise NotFound()
    if body.finding is not None:
        _check_arbiter(proposal, UUID(body.finding), batch)
    elif not is_steward(batch.actor.keeper, proposal.other.collection, batch.now):
        raise NotFound()
    last = proposal.answers.order_by("-position").first()
    if last and (last.agrees or not body.agrees):
        raise NotNow("This has been answered. Only a no can still become a yes.")
    if body.agrees:
        _check_agreed(proposal, batch)
    logged = batch.log(fact)
    services.store_joining_answer(logged)
    found = body.finding is not None
    notify_of_answer(proposal, fact.id, batch.letters, agrees=body.agrees, found=found)
    if body.agrees:
        for one in (proposal.animal_id, proposal.other_id):
            batch.touch(one, fact.id, fact.kind)
    return logged.position


def _check_arbiter(proposal: Joining, finding: UUID, batch: Batch) -> None:
    """Somebody whom the keeper of one named in a dispute and the keeper of the other lets see that
    one: with no share in either, and a footing, as it moves what others found (our judgement)."""
    found = Finding.objects.filter(pk=finding).select_related("dispute").first()
    who, pair = batch.actor.keeper, [proposal.animal_id, proposal.other_id]
    if who is None or found is None or found.arbiter != who:
        raise NotFound()
    if list(sights_of(who, pair, batch.now).values()) != ["all", "all"]:
        raise NotFound()
    if found.dispute.animal_id not in pair:
        raise OutOfRange("That finding is of another animal.", pointer="/body/finding")
    word = answers_to(found.dispute, found).get("arbiter")
    if word is None or not word.agrees:
        raise NotNow("Confirm the finding first.")
    if _has_a_share(who, proposal, batch) or footing_of(who) == "none":
        raise NotAllowed(
            "Whoever joins or parts two records has no share in either snake, and a record here, "
            "or keepers with one who vouch for them."
        )


def _has_a_share(who: UUID, proposal: Joining, batch: Batch) -> bool:
    pair = (proposal.animal, proposal.other)
    kept = any(is_steward(who, one.collection, batch.now) for one in pair)
    return kept or who in parties_to_sales([one.pk for one in pair])


def _check_agreed(proposal: Joining, batch: Batch) -> None:
    if proposal.parts is not None:
        if not in_force(proposal.parts):
            raise NotNow("The two records are not joined.")
        return
    animal, other = proposal.animal, proposal.other
    if not all(_bears(one, proposal.code) for one in (animal, other)):
        raise NotNow("One of the two records does not bear the number any more.")
    if animal.species != other.species:
        raise NotNow(
            "The two records name different species. Whoever has the wrong one corrects it first."
        )
    if _would_tell_a_guest(animal, other, batch):
        raise NotNow(
            "Somebody who may see one of the two records is still to check the other without "
            "knowing any answer. Agree once they have done so, or two weeks after their visit."
        )


def _bears(animal: Animal, code: str) -> bool:
    return animal.identifiers.filter(scheme="transponder", code=code).exists()


def _would_tell_a_guest(animal: Animal, other: Animal, batch: Batch) -> bool:
    """Whether a guest who is to check one of the two blind sees the other whole: what was found of
    the one would be told them by the other's standing. Also one whose visit is to open yet, or is
    over, as long as their call is awaited."""
    rooms = (animal.collection_id, other.collection_id)
    blind = Grant.objects.filter(collection__in=rooms, blind=True)
    guests = set(blind.filter(closes__gt=batch.now - LATE_LIMIT).values_list("to", flat=True))
    pair = {animal.pk, other.pk}
    return any(_would_be_shown(guest, pair, batch) for guest in sorted(guests))


def _would_be_shown(guest: UUID, pair: Set[UUID], batch: Batch) -> bool:
    shut = pair & kept_from(reader_of(guest, batch.now))
    return bool(shut) and "all" in sights_of(guest, pair - shut, batch.now).values()
