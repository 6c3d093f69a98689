"""Reading visits, each side's own."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q, Value, prefetch_related_objects

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import conditions_of, is_steward, stewarded, title_of
from scalewitness.animals.queries.grants import partners_of
from scalewitness.domain.cautions import is_held_off
from scalewitness.domain.errors import NotFound
from scalewitness.people.models import Grant, Keeper
from scalewitness.people.queries import confirmed_emails
from scalewitness.visits.models import InvitationByLetter, Visit, VisitAnimal


class Met(NamedTuple):
    """Somebody known by ``name``, which is anybody's to take: so also as what, and since when."""

    name: str
    role: str
    since: datetime


def visit_of(visit: UUID) -> Visit | None:
    return Visit.objects.select_related("collection", "host", "guest").filter(pk=visit).first()


def visit_seen(keeper: UUID, visit: UUID, now: datetime) -> tuple[Visit, bool]:
    """A visit, and whether the keeper is on the host's side of it.

    Raises:
        NotFound: there is none, or the keeper is neither host, partner nor guest.
    """
    found = visit_of(visit)
    if found is None:
        raise NotFound()
    hosting = is_steward(keeper, found.collection, now)
    if not hosting and found.guest_id != keeper:
        raise NotFound()
    return found, hosting


def visits_of(keeper: UUID) -> list[Visit]:
    """Visits the keeper hosts or is invited to, newest first."""
    mine = Q(host=keeper) | Q(guest=keeper)
    return list(
        Visit.objects.filter(mine)
        .select_related("collection", "host", "guest")
        .prefetch_related("steps", "animals")
        .order_by("-position")
    )


def visits_seen(keeper: UUID, now: datetime) -> list[Visit]:
    """Visits to collections the keeper holds or is a partner in, and those they are
    invited to, newest first."""
    return list(
        Visit.objects.filter(Q(collection__in=stewarded(keeper, now)) | Q(guest=keeper))
        .select_related("collection", "host", "guest")
        .prefetch_related("steps", "animals")
        .order_by("-position")
    )


@dataclass(frozen=True, slots=True)
class HeldOff:
    """An animal that a guest is to leave alone; ``health``: the note by which, None where its
    keeper asks for it."""

    animal: Animal
    title: str
    health: str | None


def held_off_on(visits: Iterable[Visit]) -> dict[UUID, list[HeldOff]]:
    """By visit, those of its animals that its guest is to leave alone for now."""
    invited = {one.pk: [each for each in one.animals.all() if not each.ended] for one in visits}
    states = conditions_of({one.pk for animals in invited.values() for one in animals})
    held = {
        visit: [
            one for one in animals if is_held_off(asked=one.hold_off, health=states[one.pk].health)
        ]
        for visit, animals in invited.items()
    }
    prefetch_related_objects([one for animals in held.values() for one in animals], "identifiers")
    return {visit: [_held_off(one, states[one.pk].health) for one in held[visit]] for visit in held}


def _held_off(animal: Animal, health: str | None) -> HeldOff:
    return HeldOff(animal, title_of(animal), None if animal.hold_off else health)


def checked_with(animal: UUID) -> set[UUID]:
    """Animals that were on the sheet of a visit together with it."""
    together = VisitAnimal.objects.filter(visit__animals=animal).exclude(animal=animal)
    return set(together.values_list("animal", flat=True))


def state_of(visit: Visit, now: datetime) -> str:
    """``invited``, ``accepted``, ``open``, ``over``, ``declined`` or ``cancelled``."""
    kinds = [step.kind for step in visit.steps.all()]
    if "visit_cancelled" in kinds:
        return "cancelled"
    if "visit_declined" in kinds:
        return "declined"
    if now >= visit.closes:
        return "over"
    if "visit_accepted" not in kinds:
        return "invited"
    return "open" if now >= visit.opens else "accepted"


def may_be_invited(host: UUID, collection: Collection, now: datetime) -> dict[UUID, Met]:
    """Those whom the host knows and who keep no animals of the collection, the latest first: whom
    they invited, whom they checked for, and whom they gave access. Not whoever merely invited them:
    anybody may do that, unasked, under any name."""
    own = Collection.objects.filter(keeper=host).values("pk")
    hosts = Visit.objects.filter(guest=host, steps__kind="visit_accepted")
    rows = [
        *Visit.objects.filter(host=host).values_list("position", "guest", Value("guest"), "opens"),
        *hosts.values_list("position", "host", Value("host"), "opens"),
        *Grant.objects.filter(collection__in=own).values_list("position", "to", "role", "opens"),
    ]
    last = {person: (role, since) for _, person, role, since in sorted(rows)}
    people = Keeper.objects.filter(pk__in=last, is_active=True)
    names = dict(people.values_list("pk", "name"))
    partners = partners_of(collection.pk, now).values_list("pk", flat=True)
    keep = {host, collection.keeper_id, *partners}
    latest = dict.fromkeys(person for _, person, *_ in sorted(rows, reverse=True))
    return {one: Met(names[one], *last[one]) for one in latest if one in names and one not in keep}


def invitations_by_letter(keeper: Keeper, now: datetime) -> list[InvitationByLetter]:
    """Those the keeper wrote, and those to an address that they proved to be theirs and have not
    answered; the newest first."""
    theirs = Q(email__in=confirmed_emails(keeper.pk), declined_at=None) & ~Q(host=keeper)
    found = InvitationByLetter.objects.filter(Q(host=keeper) | theirs, closes__gt=now)
    return list(found.select_related("collection", "host").order_by("-invited_at", "-pk"))


def invitation_by_letter(keeper: Keeper, invitation: UUID, now: datetime) -> InvitationByLetter:
    """One of these.

    Raises:
        NotFound: there is none of that id that the keeper wrote or may answer.
    """
    for one in invitations_by_letter(keeper, now):
        if one.pk == invitation:
            return one
    raise NotFound()


def is_by_letter(visit: UUID) -> bool:
    return InvitationByLetter.objects.filter(pk=visit).exists()
