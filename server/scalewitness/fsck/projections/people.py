"""Access, devices and visits."""

from uuid import UUID

from scalewitness.domain.moments import parse_moment
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.people.models import DeviceKey, DeviceKeyEnd, Grant, GrantAnimal, GrantEnd
from scalewitness.visits.models import Visit, VisitAnimal, VisitStep


def grant_given(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    yield Row(
        Grant,
        row_of_fact(
            said,
            collection=said.about,
            to_id=UUID(body.to),
            role=body.role,
            whole=body.animals is None,
            blind=False,
            opens=min(said.at, said.received_at),
            closes=parse_moment(body.until) if body.until else None,
        ),
    )
    for animal in body.animals or ():
        yield Row(GrantAnimal, {"grant_id": said.id, "animal": UUID(animal)})


def grant_revoked(said: LoggedFact, past: Past) -> Rows:
    yield _end(UUID(said.body.grant), said)


def _end(grant: UUID, said: LoggedFact) -> Row:
    values = {"grant_id": grant, "position": said.position, "at": said.received_at}
    return Row(GrantEnd, values)


def device_key_enrolled(said: LoggedFact, past: Past) -> Rows:
    device, key = UUID(said.body.device), said.body.key
    values = {"device_id": device, "position": said.position, "public": key, "at": said.at}
    yield Row(DeviceKey, values)


def device_revoked(said: LoggedFact, past: Past) -> Rows:
    device = UUID(said.body.device)
    values = {"key_id": device, "position": said.position, "at": said.received_at}
    yield Row(DeviceKeyEnd, values)


def visit_invited(said: LoggedFact, past: Past) -> Rows:
    body = said.body
    yield Row(
        Visit,
        row_of_thing(
            said,
            collection_id=UUID(body.collection),
            host_id=said.by,
            guest_id=UUID(body.guest),
            opens=parse_moment(body.opens),
            closes=parse_moment(body.closes),
            blind=body.blind,
        ),
    )
    for animal in body.animals:
        yield Row(VisitAnimal, {"visit_id": said.about, "animal_id": UUID(animal)})


def visit_accepted(said: LoggedFact, past: Past) -> Rows:
    """The guest's sight of the animals is the visit's own grant."""
    yield from visit_declined(said, past)
    invited = past.invitation(said).body
    yield Row(
        Grant,
        row_of_thing(
            said,
            collection=UUID(invited.collection),
            to_id=UUID(invited.guest),
            role="guest",
            whole=False,
            blind=invited.blind,
            opens=parse_moment(invited.opens),
            closes=parse_moment(invited.closes),
        ),
    )
    for animal in invited.animals:
        yield Row(GrantAnimal, {"grant_id": said.about, "animal": UUID(animal)})


def visit_declined(said: LoggedFact, past: Past) -> Rows:
    step = {"visit_id": said.about, "kind": said.kind, "at": said.received_at}
    yield Row(VisitStep, row_of_fact(said, **step))


def visit_cancelled(said: LoggedFact, past: Past) -> Rows:
    yield from visit_declined(said, past)
    if past.ends_grant(said):
        yield _end(said.about, said)
