"""Access, devices and visits."""

from uuid import UUID

from scalewitness.domain.moments import parse_moment
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections.row import Row, Rows, row_of_fact, row_of_thing
from scalewitness.fsck.reading import LoggedFact
from scalewitness.ledger.models import WitnessEnd
from scalewitness.people.models import (
    Deceit,
    DeviceKey,
    DeviceKeyEnd,
    Founder,
    Grant,
    GrantAnimal,
    GrantEnd,
    KeyEndorsement,
    NamedAsOne,
    SigningNotice,
    SigningNoticeStop,
    SigningRule,
    Voucher,
)
from scalewitness.visits.models import Visit, VisitAnimal, VisitStep


def grant_given(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    yield Row(
        Grant,
        row_of_fact(
            fact,
            collection=fact.about,
            to_id=UUID(body.to),
            role=body.role,
            whole=body.animals is None,
            blind=False,
            opens=min(fact.at, fact.received_at),
            closes=parse_moment(body.until) if body.until else None,
        ),
    )
    for animal in body.animals or ():
        yield Row(GrantAnimal, {"grant_id": fact.id, "animal": UUID(animal)})


def grant_revoked(fact: LoggedFact, past: Past) -> Rows:
    yield _end(UUID(fact.body.grant), fact)


def _end(grant: UUID, fact: LoggedFact) -> Row:
    values = {"grant_id": grant, "position": fact.position, "at": fact.received_at}
    return Row(GrantEnd, values)


def device_key_enrolled(fact: LoggedFact, past: Past) -> Rows:
    device, key = UUID(fact.body.device), fact.body.key
    values = {"device_id": device, "position": fact.position, "public": key, "at": fact.at}
    yield Row(DeviceKey, values | {"recovery": fact.raw.get("recovery", False)})


def device_revoked(fact: LoggedFact, past: Past) -> Rows:
    device = UUID(fact.body.device)
    values = {"key_id": device, "position": fact.position, "at": fact.received_at}
    yield Row(DeviceKeyEnd, values)


def device_key_endorsed(fact: LoggedFact, past: Past) -> Rows:
    device, by = UUID(fact.body.device), fact.device
    yield Row(KeyEndorsement, {"key_id": device, "position": fact.position, "by_id": by})


def signatures_required(fact: LoggedFact, past: Past) -> Rows:
    body = {"required": fact.raw.get("required", True), "wait": fact.raw.get("wait", False)}
    yield Row(SigningRule, row_of_fact(fact, keeper_id=fact.about, device_id=fact.device, **body))


def signing_notice_given(fact: LoggedFact, past: Past) -> Rows:
    yield Row(SigningNotice, row_of_fact(fact, keeper_id=fact.about, at=fact.received_at))


def signing_notice_stopped(fact: LoggedFact, past: Past) -> Rows:
    values = {"notice_id": UUID(fact.body.notice), "position": fact.position}
    yield Row(SigningNoticeStop, {**values, "device_id": fact.device})


def witness_revoked(fact: LoggedFact, past: Past) -> Rows:
    size = fact.position + 1 if fact.body.size is None else fact.body.size
    values = {"witness_id": fact.body.key, "position": fact.position, "size": size}
    yield Row(WitnessEnd, values)


def keeper_vouched(fact: LoggedFact, past: Past) -> Rows:
    body = {"vouches": fact.raw.get("vouches", True), "practice": fact.raw.get("practice", "")}
    yield Row(Voucher, row_of_fact(fact, by_id=fact.by, keeper_id=fact.about, at=fact.at, **body))


def founder_named(fact: LoggedFact, past: Past) -> Rows:
    yield Row(Founder, {"keeper_id": fact.about, "position": fact.position})


def deceit_found(fact: LoggedFact, past: Past) -> Rows:
    finding = UUID(fact.body.finding)
    yield Row(Deceit, row_of_fact(fact, keeper_id=fact.about, finding=finding))


def one_person_found(fact: LoggedFact, past: Past) -> Rows:
    """Not who they are: of that the log has the commitment alone."""
    finding, accounts = UUID(fact.body.finding), fact.body.accounts
    more = {"animal": fact.about, "finding": finding, "accounts": accounts, "at": fact.at}
    yield Row(NamedAsOne, row_of_fact(fact, **more))


def visit_invited(fact: LoggedFact, past: Past) -> Rows:
    body = fact.body
    yield Row(
        Visit,
        row_of_thing(
            fact,
            collection_id=UUID(body.collection),
            host_id=fact.by,
            guest_id=UUID(body.guest),
            opens=parse_moment(body.opens),
            closes=parse_moment(body.closes),
            blind=body.blind,
        ),
    )
    for animal in body.animals:
        yield Row(VisitAnimal, {"visit_id": fact.about, "animal_id": UUID(animal)})


def visit_accepted(fact: LoggedFact, past: Past) -> Rows:
    """The guest's sight of the animals is the visit's own grant."""
    yield from visit_declined(fact, past)
    invited = past.invitation(fact).body
    yield Row(
        Grant,
        row_of_thing(
            fact,
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
        yield Row(GrantAnimal, {"grant_id": fact.about, "animal": UUID(animal)})


def visit_declined(fact: LoggedFact, past: Past) -> Rows:
    step = {"visit_id": fact.about, "kind": fact.kind, "at": fact.received_at}
    yield Row(VisitStep, row_of_fact(fact, **step))


def visit_cancelled(fact: LoggedFact, past: Past) -> Rows:
    yield from visit_declined(fact, past)
    if past.ends_grant(fact):
        yield _end(fact.about, fact)
