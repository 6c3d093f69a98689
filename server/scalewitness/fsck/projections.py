"""Each kind of fact with the rows it must have left: one small function a kind.

This says once more what the apps' services write, on purpose: a row is right when two
hands, reading the same entry, arrive at the same values.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Model

from scalewitness.animals.models import Animal, Custody, Husbandry, Identifier, Photo
from scalewitness.animals.queries import plain_code
from scalewitness.breeding.models import Pairing, PairingEnd
from scalewitness.calls.models import Call, HeldDecision, Objection, SetAside, Withdrawal
from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.disputes.models import Dispute, Finding, Statement
from scalewitness.domain.moments import parse_moment
from scalewitness.fsck.past import Past
from scalewitness.fsck.reading import Said
from scalewitness.ledger.models import Succession
from scalewitness.people.models import DeviceKey, DeviceKeyEnd, Grant, GrantAnimal, GrantEnd
from scalewitness.sales.models import Sale, SaleAnimal, SaleStep
from scalewitness.standings.models import AdoptedPolicy, ExaminerRecord, Standing, StatedLinkage
from scalewitness.visits.models import Visit, VisitAnimal, VisitStep


@dataclass(frozen=True, slots=True)
class Row:
    """A row that must be there, by column; columns left out are not the fact's to say."""

    model: type[Model]
    values: Mapping[str, Any]


Rows = Iterator[Row]
PARTICULARS = frozenset({"animal_registered", "particulars_corrected"})


def _id(text: str | None) -> UUID | None:
    return UUID(text) if text else None


def _own(said: Said, **more: Any) -> dict[str, Any]:
    """Of a row that is the fact itself: its id and position."""
    return {"id": said.id, "position": said.position, **more}


def _thing(said: Said, **more: Any) -> dict[str, Any]:
    """Of a row that is the thing the fact brought about."""
    return {"id": said.about, "position": said.position, **more}


# --- people ---------------------------------------------------------------------------


def grant_given(said: Said, past: Past) -> Rows:
    body = said.body
    yield Row(
        Grant,
        _own(
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


def grant_revoked(said: Said, past: Past) -> Rows:
    yield _end(UUID(said.body.grant), said)


def _end(grant: UUID, said: Said) -> Row:
    values = {"grant_id": grant, "position": said.position, "at": said.received_at}
    return Row(GrantEnd, values)


def device_key_enrolled(said: Said, past: Past) -> Rows:
    device, key = UUID(said.body.device), said.body.key
    values = {"device_id": device, "position": said.position, "public": key, "at": said.at}
    yield Row(DeviceKey, values)


def device_revoked(said: Said, past: Past) -> Rows:
    device = UUID(said.body.device)
    values = {"key_id": device, "position": said.position, "at": said.received_at}
    yield Row(DeviceKeyEnd, values)


# --- animals --------------------------------------------------------------------------


def animal_registered(said: Said, past: Past) -> Rows:
    yield from particulars_corrected(said, past)
    if past.is_latest(said, {"custody_changed"}):
        yield Row(Animal, {"id": said.about, "collection_id": UUID(said.body.collection)})


def particulars_corrected(said: Said, past: Past) -> Rows:
    """The animal has the latest particulars only."""
    body = said.body
    if past.is_latest(said, PARTICULARS):
        yield Row(
            Animal,
            {
                "id": said.about,
                "species": body.species,
                "hatched": date.fromisoformat(body.hatched) if body.hatched else None,
                "sire": _id(body.sire),
                "dam": _id(body.dam),
                "traits": list(body.traits),
            },
        )


def identifier_assigned(said: Said, past: Past) -> Rows:
    scheme = said.body.scheme
    code = plain_code(scheme, said.body.code)
    yield Row(Identifier, _own(said, animal_id=said.about, scheme=scheme, code=code))


def husbandry_noted(said: Said, past: Past) -> Rows:
    noted = said.raw["noted"]
    more = {"by": said.by, "at": said.at, "type": noted["type"], "noted": noted}
    yield Row(Husbandry, _own(said, animal_id=said.about, **more))


def photo_attached(said: Said, past: Past) -> Rows:
    body = said.body
    more = {"by": said.by, "at": said.at, "call": _id(body.of)}
    file = {"sha256": body.sha256, "size": body.size}
    yield Row(Photo, _own(said, animal_id=said.about, **more, **file))


def custody_changed(said: Said, past: Past) -> Rows:
    body = said.body
    came, went = past.home_before(said), UUID(body.to)
    more = {"came_from": came, "went_to": went, "why": body.why, "at": said.at}
    yield Row(Custody, _own(said, animal_id=said.about, **more))
    if past.is_latest(said, {"custody_changed"}):
        yield Row(Animal, {"id": said.about, "collection_id": went})


def linkage_stated(said: Said, past: Past) -> Rows:
    more = {"by": said.by, "at": said.at, "body": said.raw}
    yield Row(StatedLinkage, _own(said, animal_id=said.about, **more))


# --- visits ---------------------------------------------------------------------------


def visit_invited(said: Said, past: Past) -> Rows:
    body = said.body
    yield Row(
        Visit,
        _thing(
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


def visit_accepted(said: Said, past: Past) -> Rows:
    """The guest's sight of the animals is the visit's own grant."""
    yield from visit_declined(said, past)
    invited = past.invitation(said).body
    yield Row(
        Grant,
        _thing(
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


def visit_declined(said: Said, past: Past) -> Rows:
    step = {"visit_id": said.about, "kind": said.kind, "at": said.received_at}
    yield Row(VisitStep, _own(said, **step))


def visit_cancelled(said: Said, past: Past) -> Rows:
    yield from visit_declined(said, past)
    if past.ends_grant(said):
        yield _end(said.about, said)


# --- calls ----------------------------------------------------------------------------


def call_made(said: Said, past: Past) -> Rows:
    body, known = said.body, past.circumstance(said)
    yield Row(
        Call,
        _own(
            said,
            animal_id=said.about,
            by=said.by,
            examiner=UUID(body.reported.who) if body.reported else said.by,
            role=body.reported.role if body.reported else "keeper",
            method=said.raw["observed"]["method"],
            conclusion=body.conclusion,
            examined_at=said.at,
            received_at=said.received_at,
            visit=_id(body.visit),
            stage=known.stage,
            identity=known.identity,
            blind=known.blind,
            interested=known.interested,
            anchored_to=known.anchored_to,
            flags=list(said.flags),
            body=said.raw,
        ),
    )


def call_withdrawn(said: Said, past: Past) -> Rows:
    yield Row(Withdrawal, _own(said, call_id=UUID(said.body.call), at=said.at))


def call_objected(said: Said, past: Past) -> Rows:
    more = {"by": said.by, "ground": said.body.ground, "at": said.at}
    yield Row(Objection, _own(said, call_id=UUID(said.body.call), **more))


def late_call_decided(said: Said, past: Past) -> Rows:
    held, admitted = UUID(said.body.held), said.body.admitted
    yield Row(HeldDecision, {"held_id": held, "position": said.position, "admitted": admitted})


def standing_changed(said: Said, past: Past) -> Rows:
    body = said.body
    yield Row(
        Standing,
        _own(
            said,
            animal_id=said.about,
            label=body.label,
            p_male=body.p_male,
            p_male_pessimistic=body.p_male_pessimistic,
            parameters=body.parameters,
            policy=body.policy,
            examiner_records=body.examiner_records,
        ),
    )


def policy_adopted(said: Said, past: Past) -> Rows:
    yield Row(AdoptedPolicy, _thing(said, **said.raw))


def examiner_record_changed(said: Said, past: Past) -> Rows:
    yield Row(ExaminerRecord, _own(said, examiner=said.about, **said.raw))


def origin_succeeded(said: Said, past: Past) -> Rows:
    body = said.body
    keys = {"old_key": body.old_key, "new_key": body.new_key}
    more = {"checkpoint": body.checkpoint, "missing": body.missing, "at": said.at}
    yield Row(Succession, _own(said, **keys, **more))


# --- breeding -------------------------------------------------------------------------


def pairing_planned(said: Said, past: Past) -> Rows:
    body = said.body
    pair = {"sire_id": UUID(body.sire), "dam_id": UUID(body.dam), "season": body.season}
    yield Row(Pairing, _thing(said, by=said.by, at=said.received_at, **pair))


def pairing_dropped(said: Said, past: Past) -> Rows:
    end = _own(said, pairing_id=said.about, by=said.by, at=said.received_at)
    yield Row(PairingEnd, end)


# --- sales, disclosures, disputes -----------------------------------------------------


def sale_step(said: Said, past: Past) -> Rows:
    more = {"kind": said.kind, "by": said.by, "at": said.received_at, "body": said.raw}
    yield Row(SaleStep, _own(said, sale_id=said.about, **more))


def offer_made(said: Said, past: Past) -> Rows:
    """The draft itself is no fact; its parties and animals are those that were offered."""
    body = said.body
    yield from sale_step(said, past)
    parties = {"collection_id": UUID(body.collection), "buyer_id": UUID(body.buyer)}
    yield Row(Sale, {"id": said.about, **parties})
    for one in body.represents:
        yield Row(SaleAnimal, {"sale_id": said.about, "animal_id": UUID(one.animal)})


def disclosure_owed(said: Said, past: Past) -> Rows:
    body = said.body
    yield Row(
        Disclosure,
        _thing(
            said,
            sale_id=UUID(body.sale),
            animal_id=UUID(body.animal),
            to_id=UUID(body.to),
            cause=UUID(body.cause),
            change=body.change,
            was=said.raw["was"],
            now=said.raw["now"],
            owed_at=said.received_at,
        ),
    )


def disclosure_acknowledged(said: Said, past: Past) -> Rows:
    read = {"disclosure_id": said.about, "position": said.position, "at": said.received_at}
    yield Row(Acknowledgement, read)


def dispute_opened(said: Said, past: Past) -> Rows:
    body = said.body
    yield Row(
        Dispute,
        _thing(
            said,
            animal_id=UUID(body.animal),
            sale_id=_id(body.sale),
            ground=body.ground,
            cause=_id(body.cause),
            by=said.by,
            opened_at=said.received_at,
        ),
    )


def statement_made(said: Said, past: Past) -> Rows:
    yield Row(Statement, _own(said, dispute_id=said.about, by=said.by, at=said.received_at))


def finding_recorded(said: Said, past: Past) -> Rows:
    body = said.body
    found = {"outcome": body.outcome, "remedy": body.remedy, "set_aside": list(body.set_aside)}
    found |= {"basis": body.basis or "", "document": body.document or ""}
    yield Row(Finding, _own(said, dispute_id=said.about, by=said.by, at=said.received_at, **found))
    for call in body.set_aside:
        aside = {"call_id": UUID(call), "finding": said.id, "position": said.position}
        yield Row(SetAside, aside)


PROJECTIONS: dict[str, Callable[[Said, Past], Rows]] = {
    "grant_given": grant_given,
    "grant_revoked": grant_revoked,
    "device_key_enrolled": device_key_enrolled,
    "device_revoked": device_revoked,
    "animal_registered": animal_registered,
    "particulars_corrected": particulars_corrected,
    "identifier_assigned": identifier_assigned,
    "husbandry_noted": husbandry_noted,
    "photo_attached": photo_attached,
    "custody_changed": custody_changed,
    "linkage_stated": linkage_stated,
    "visit_invited": visit_invited,
    "visit_accepted": visit_accepted,
    "visit_declined": visit_declined,
    "visit_cancelled": visit_cancelled,
    "call_made": call_made,
    "call_withdrawn": call_withdrawn,
    "call_objected": call_objected,
    "late_call_decided": late_call_decided,
    "standing_changed": standing_changed,
    "policy_adopted": policy_adopted,
    "examiner_record_changed": examiner_record_changed,
    "origin_succeeded": origin_succeeded,
    "pairing_planned": pairing_planned,
    "pairing_dropped": pairing_dropped,
    "offer_made": offer_made,
    "offer_withdrawn": sale_step,
    "offer_declined": sale_step,
    "offer_lapsed": sale_step,
    "sale_confirmed": sale_step,
    "check_requested": sale_step,
    "sale_held": sale_step,
    "payment_recorded": sale_step,
    "handed_over": sale_step,
    "sale_closed": sale_step,
    "disclosure_owed": disclosure_owed,
    "disclosure_acknowledged": disclosure_acknowledged,
    "dispute_opened": dispute_opened,
    "statement_made": statement_made,
    "finding_recorded": finding_recorded,
}
